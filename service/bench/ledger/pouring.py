"""What goes from vessel to vessel: how much of the solid and of what is dissolved goes along, and what clings."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from service.bench.chemistry.balance import GLASS_G, PAPER_G, Decant, decant_loss
from service.bench.chemistry.reagents import Span
from service.bench.ledger.books import GIVEN, GONE, SPILT, Books
from service.bench.ledger.draws import Array, N, between, normal, of_span
from service.bench.ledger.mixing import (
    left_on_paper,
    liquid_of,
    stage_forms,
    stage_liquid,
    stops_of,
    through_paper,
    unknown_liquid,
)
from service.bench.ledger.vessels import VOLUME, Holding, all_of, as_share, spread
from service.bench.notes import DecantNote, Note, Pouring
from service.bench.notes.of_vessels import MAIN, STOCK, Filtered, HandedOver, Moved, Spilled
from service.bench.procedure import Stage
from service.bench.vessel.contents import Contents

SPLIT = 0.1  # a stirred part's solid differs so much from its share, to each side; common practice, no source
THROUGH: Span = (0.0002, 0.002, 0.02)  # share of the solid that goes through a paper; common practice, no source
MOPPED: Span = (0.3, 0.7, 0.95)  # share of a spill that a cloth brings back; common practice, no source


@dataclass(frozen=True)
class Elsewhere:
    """What other batches have to do with this one.

    ``notes`` are of other batches, each with its batch, that take from this one or bring to it; ``brought`` is the
    silver, g, that a note of whichever batch brings into this one. ``emptied`` are the notes by which the stock vessel
    was handed over, whichever batch wrote them.
    """

    notes: tuple[tuple[int, Note], ...] = ()
    brought: Mapping[int, Span] | None = None
    emptied: tuple[int, ...] = ()


@dataclass(frozen=True)
class Meeting:
    """What a note brings together that must not meet: its number, the codes of the dangers, what was said of it."""

    note: int
    codes: tuple[str, ...]
    despite: str | None


class Pours:
    """Notes of pouring, one method a kind, on the books of one batch at its stage."""

    def __init__(
        self, books: Books, batch: int, elsewhere: Elsewhere, decant_of: Callable[[DecantNote], Decant]
    ) -> None:
        self.books, self.batch, self.elsewhere, self.decant_of = books, batch, elsewhere, decant_of
        self.stage: Stage | None = None
        self.meetings: list[Meeting] = []

    def decant(self, note: Note, content: DecantNote) -> None:
        """Poured off what had settled: what is dissolved in it, and fines."""
        out, into = content.vessel or MAIN, content.into or STOCK
        self.books.might_lose(out, note.id)
        held = self.books.vessel(out)
        form: str = content.solid
        if self.books.key(out) == MAIN and "solid" not in content.model_fields_set:
            form = next(iter(stage_forms(self.stage)), form)
        poured = replace(self.decant_of(content), solid=form)
        dissolved, fines = decant_loss(poured)
        if held.litres:  # its liquid is known, and what is dissolved in it was counted when it came in
            share = as_share(np.full(N, min(1.0, content.litres / held.litres)), self.books.sites)
            gone = held.take(self.none(), share)[1]
            liquid = held.pour_out(min(1.0, content.litres / held.litres))
        else:
            gone = held.take_solid(dissolved.silver_g, dissolved.cause)
            liquid = stage_liquid(self.stage, content.litres) if self.books.key(out) == MAIN else None
        solid = held.take_solid(fines.silver_g, fines.cause)
        self.meet(note, content.despite, liquid, into)
        self.put(into, (solid, gone), (form,), liquid)
        self.books.touch([out, into], note.at, note.id)

    def poured(self, note: Note, content: Pouring) -> None:
        """Into the stock vessel out of a vessel with a name; without one its silver was counted by its decant."""
        if content.vessel is None:
            return
        self.books.might_lose(content.vessel, note.id)
        held = self.books.vessel(content.vessel)
        share, mean = self._by_litres(held, content.litres, note.id)
        held.pour_out(mean)
        solid, dissolved = held.take(share, share)
        self.books.vessel(STOCK).put(solid, dissolved, held.forms)
        self.books.touch([content.vessel, STOCK], note.at, note.id)

    def moved(self, note: Note, content: Moved, writer: int) -> None:
        """From one vessel to another, written in the batch ``writer``."""
        source, target = content.from_batch or writer, content.into_batch or writer
        if self.batch not in (source, target):
            return
        if source == self.batch:
            self.books.might_lose(content.vessel, note.id)
            held = self.books.vessel(content.vessel)
            share = self._share(note, content, held)
            (solid, dissolved), forms = self._part(content, held, share), held.forms
            liquid = self._out(content, held, share[1])
            self.books.touch([content.vessel], note.at, note.id)
        else:
            span = (self.elsewhere.brought or {}).get(note.id, (0.0, 0.0, 0.0))
            liquid = liquid_of(content, content.litres or 0.0, content.vessel) if content.described else None
            solid, dissolved, forms = self.books.received(span, f"brought {note.id}"), self.none(), ()
        if target == self.batch:
            self.meet(note, content.despite, liquid, content.into)
            self.put(content.into, (solid, dissolved), forms, liquid)
            self.books.touch([content.into], note.at, note.id)
        else:
            self.books.given[note.id] = solid + dissolved
            self.books.vessel(GIVEN).put(solid, dissolved, forms)
            self.books.touch([GIVEN], note.at, note.id)

    def _out(self, content: Moved, held: Holding, mean: float) -> Contents | None:
        went = held.pour_out(mean)
        if content.described:
            return liquid_of(content, content.litres or (went.litres if went else 0.0), content.vessel)
        if went is None and self.books.key(content.vessel) == MAIN:
            return stage_liquid(self.stage, content.litres or 0.0)
        return went

    def _part(self, content: Moved, held: Holding, part: tuple[Array, float]) -> tuple[Array, Array]:
        """What goes along: all but what clings, a stirred part, or clear liquid with a few fines in it."""
        share, mean = part
        settled = content.solid == "settled"
        if settled:
            litres = content.litres or (mean * held.litres if held.litres else 0.0)
            fines = decant_loss(Decant("", litres, looks="clear"))[1].silver_g
            solid = held.take_solid(fines, "fines")
            return solid, held.take(self.none(), share)[1]
        if mean < 1.0:
            return held.take(share, share)
        solid, dissolved = held.take(self.all(), self.all())
        clings = GLASS_G if held.what_for != "paper" else PAPER_G
        kept = np.minimum(solid, spread(of_span(clings, "clings"), self.books.sites))
        kept[N:] = 0.0
        held.put(kept, self.none())
        return solid - kept, dissolved

    def _share(self, note: Note, content: Moved | Filtered, held: Holding) -> tuple[Array, float]:
        if content.share is not None:
            low, high = content.share
            drawn = between((low, high), f"share {note.id}")
            if isinstance(content, Moved) and content.how == "split":
                drawn = drawn * (1.0 + SPLIT / 2.0 * normal(f"split {note.id}"))
            return as_share(drawn, self.books.sites), min(1.0, 0.5 * (low + high))
        litres = content.litres if isinstance(content, Moved) else None
        if litres is None:
            return self.all(), 1.0
        return self._by_litres(held, litres, note.id)

    def _by_litres(self, held: Holding, litres: float, note: int) -> tuple[Array, float]:
        """The share that so many litres are of a vessel; of one whose volume nobody knows it may be any."""
        if not held.litres:
            return as_share(between((0.0, 1.0), f"share {note}"), self.books.sites), 0.5
        mean = min(1.0, litres / held.litres)
        drawn = mean * (1.0 + VOLUME * normal(f"volume {note}")) if mean < 1.0 else np.ones(1)
        return as_share(drawn + np.zeros(N), self.books.sites), mean

    def filtered(self, note: Note, content: Filtered) -> None:
        """The solid onto a paper, the liquid on."""
        self.books.might_lose(content.vessel, note.id)
        held = self.books.vessel(content.vessel)
        share, mean = self._share(note, content, held)
        liquid = held.pour_out(mean)
        solid, dissolved = held.take(share, share)
        through = as_share(of_span(THROUGH, "through paper"), self.books.sites)
        paper = self.books.vessel(content.paper)
        paper.what_for = "paper"
        paper.put(solid * (1.0 - through), self.none(), held.forms)
        if content.described:
            liquid = liquid_of(content, liquid.litres if liquid else 0.0, content.vessel)
        elif liquid is None and self.books.key(content.vessel) == MAIN:
            liquid = stage_liquid(self.stage, 0.0)
        paper.contents, liquid = left_on_paper(liquid), through_paper(liquid)
        self.meet(note, content.despite, liquid, content.into)
        self.put(content.into, (solid * through, dissolved), held.forms, liquid)
        self.books.touch([content.vessel, content.paper, content.into], note.at, note.id)

    def spilled(self, note: Note, content: Spilled) -> None:
        """A share is lost, but for what was wiped up."""
        self.books.might_lose(content.vessel, note.id)
        held = self.books.vessel(content.vessel)
        low, high = content.share
        share = as_share(between((low, high), f"spilt {note.id}"), self.books.sites)
        held.pour_out(0.5 * (low + high))
        solid, dissolved = held.take(share, share)
        back = as_share(of_span(MOPPED, "mopped") if content.mopped else np.zeros(N), self.books.sites)
        if content.mopped:
            self.books.vessel(content.mopped).put(solid * back, dissolved * back, held.forms)
            self.books.touch([content.mopped], note.at, note.id)
        self.books.vessel(SPILT).put(solid * (1.0 - back), dissolved * (1.0 - back), held.forms)
        self.books.touch([content.vessel, SPILT], note.at, note.id)

    def handed_over(self, note: Note, content: HandedOver) -> None:
        """All of it left the bench."""
        self.books.might_lose(content.vessel, note.id)
        held = self.books.vessel(content.vessel)
        solid, dissolved = held.take(self.all(), self.all())
        held.contents, held.litres = None, None
        self.books.vessel(GONE).put(solid, dissolved, held.forms)
        self.books.touch([content.vessel, GONE], note.at, note.id)

    def stock_gone(self, note: int) -> None:
        """The stock vessel was handed over by this note, whichever batch wrote it."""
        held = self.books.holdings.get(STOCK)
        if held is None:
            return
        solid, dissolved = held.take(self.all(), self.all())
        self.books.vessel(GONE).put(solid, dissolved, held.forms)
        self.books.vessel(GONE).note = note

    def liquid_in(self, name: str) -> Contents | None:
        """The liquid of a vessel; of the batch's own as its stage says."""
        if self.books.key(name) == MAIN:
            return stage_liquid(self.stage, 0.0)
        return self.books.vessel(name).contents

    def meet(self, note: Note, despite: str | None, liquid: Contents | None, into: str) -> None:
        """Whether a liquid must not meet what is in a vessel; the stock vessel has rules and notes of its own."""
        if self.books.key(into) == STOCK:
            return
        found = stops_of(liquid, self.liquid_in(into))
        if found:
            self.meetings.append(Meeting(note.id, tuple(stop.code for stop in found), despite))

    def none(self) -> Array:
        """No silver, g, or no share of it, (N + S,)."""
        return np.zeros(N + self.books.sites)

    def all(self) -> Array:
        """The share of everything, (N + S,)."""
        return all_of(self.books.sites)

    def put(
        self, name: str, silver: tuple[Array, Array], forms: tuple[str, ...], liquid: Contents | None = None
    ) -> None:
        """Silver, solid and dissolved, each (N + S,) in g, and the liquid that it is in, into a vessel.

        The batch's own vessel has the liquid of its stage, which washes change: there nothing is added up, and what is
        dissolved is as its solid lets it be.
        """
        held = self.books.vessel(name)
        if self.books.key(name) == MAIN:
            held.put(silver[0] + silver[1], self.none(), forms)
            return
        held.put(*silver, forms)
        if self.books.key(name) != STOCK:
            held.pour_in(liquid or unknown_liquid())
