"""The notes played in their order: what each does to the silver and to the liquids of the vessels."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from service.bench.chemistry.balance import GLASS_G, PAPER_G, SILVER_IN_OXIDE, Decant, ammonia_test_loss
from service.bench.chemistry.reagents import Span, silver_share
from service.bench.course import DEFAULT, walk
from service.bench.ledger.books import BAR, GLASS, PAPERS, VIALS, Books
from service.bench.ledger.draws import Z95, Array, between, normal, of_span
from service.bench.ledger.melted import Melts, melt_notes
from service.bench.ledger.mixing import liquid_of, unknown_liquid
from service.bench.ledger.pouring import Elsewhere, Meeting
from service.bench.melting.of_batch import melts_of
from service.bench.notes import AmmoniaTest, BarNote, DecantNote, Emptying, Note, Pouring, Weight
from service.bench.notes.content import Content
from service.bench.notes.of_vessels import (
    MAIN,
    Evaporated,
    Filtered,
    HandedOver,
    Moved,
    NamedVessel,
    Spilled,
    VesselHolds,
    VesselWeighed,
    same_vessel,
)
from service.bench.procedure import Stage, earlier_procedure
from service.bench.state import GLASSES, METAL, batch_vessel, weighing_of, weighings_of
from service.bench.state import PAPERS as PAPERS_USED
from service.bench.weighings import MOISTURE_UNKNOWN, expected_of, lots_of, metal_weighings

SCALE_G = 0.05  # of a scale of which nobody said how far it is right; common practice, no source


@dataclass(frozen=True)
class Played:
    """The books after the last note, the stage then, and what was brought together that must not meet."""

    books: Books
    stage: Stage | None
    melted: bool
    meetings: tuple[Meeting, ...]


def play(
    notes: Sequence[Note],
    batch: int,
    elsewhere: Elsewhere,
    decant_of: Callable[[DecantNote], Decant],
    chalk_g: Span = (0.0, 0.0, 0.0),
) -> Played:
    """Play the notes in force of a batch, and those of other batches that touch it, in the order of their numbers."""
    player = Player(notes, batch, elsewhere, decant_of, chalk_g)
    own = [(batch, note, step.stage if step else None) for note, step in walk(notes)]
    every = sorted([*own, *((other, note, None) for other, note in elsewhere.notes)], key=lambda one: one[1].id)
    for other, note, stage in every:
        player.stage = stage or player.stage
        player.one(other, note)
    player.end()
    return Played(player.books, player.stage, player.melted, tuple(player.meetings))


class Player(Melts):
    """The notes of one batch on its books; of other batches only what goes to and fro."""

    def __init__(
        self,
        notes: Sequence[Note],
        batch: int,
        elsewhere: Elsewhere,
        decant_of: Callable[[DecantNote], Decant],
        chalk_g: Span,
    ) -> None:
        super().__init__(Books(2 * (len(notes) + len(elsewhere.notes)) + 8), batch, elsewhere, decant_of)
        self.chalk_g = chalk_g
        first = earlier_procedure(DEFAULT).stages[0]  # of a batch for which no procedure was chosen
        self.stage = next((step.before for _note, step in walk(notes) if step), first)
        self.set_aside = False
        self.bars: list[Array] = []
        self.handed = list(elsewhere.emptied)
        weights = weighings_of(list(notes))
        of = "chloride" if lots_of(weights, "chloride") else "input"
        self.lots = {lot.number: lot for lot in lots_of(weights, of)}
        self.barred = [melt.silver_g for melt in melts_of(list(notes)) if melt.bars]
        self.melts = melt_notes(notes)
        self.last_bar = max((n.id for n in notes if isinstance(n.content, BarNote)), default=0)
        # Where bars are written down one by one they say what there is in the end.
        self.metal = {n: of for n, of in metal_lots(notes).items() if of == "powder" or not self.barred}
        powder = [n.content.grams for n in notes if isinstance(n.content, Weight) and self.metal.get(n.id) == "powder"]
        self.powder_g = sum(powder) if powder else None
        self.counted = batch_vessel(list(notes))

    # --- notes

    def one(self, batch: int, note: Note) -> None:
        """One note of this batch or of another."""
        content = note.content
        act = ACTS.get(type(content))
        if act is None or (batch != self.batch and not isinstance(content, Moved)):
            return
        while self.handed and self.handed[0] < note.id:
            self.stock_gone(self.handed.pop(0))
        if isinstance(content, Moved):
            self.moved(note, content, batch)
        else:
            act(self, note, content)

    def named(self, note: Note, content: NamedVessel) -> None:
        """A vessel was given a name."""
        name = same_vessel(content.vessel)
        if content.what_for == "main" and self.books.main == MAIN and name not in self.books.holdings:
            self.books.main = name
        held = self.books.vessel(content.vessel)
        held.name, held.what_for = content.vessel, content.what_for
        held.tare_g = held.tare_g if content.tare_g is None else content.tare_g
        self.books.touch([content.vessel], note.at, note.id)

    def holds(self, note: Note, content: VesselHolds) -> None:
        """What a vessel was found to hold."""
        held = self.books.vessel(content.vessel)
        litres = content.litres if content.litres is not None else held.litres
        if content.described:
            held.contents, held.litres = liquid_of(content, litres or 0.0, content.vessel), litres
        elif litres is not None:
            held.contents, held.litres = replace(held.contents or unknown_liquid(), litres=litres), litres
        if content.silver is not None:
            low, high = content.silver
            span = (low, 0.5 * (low + high), high)
            held.put(self.books.received(span, f"held {note.id}"), self.none(), ("chloride",))
        self.books.touch([content.vessel], note.at, note.id)

    def weight(self, note: Note, content: Weight) -> None:
        """What the batch starts from, or its metal."""
        into = content.vessel or MAIN
        if note.id in self.lots:
            span = expected_of([replace(weighing_of(content, note.id), again=None, replaces=None)])
            if span is None:
                return
            form = "chloride" if content.of == "chloride" else "metal"
            # Whoever misjudges the water of one lot, or its fineness, misjudges the others'.
            cause = "moisture of the lots" if content.of == "chloride" else "fineness of the lots"
            self.books.vessel(into).put(self.books.received(span, cause), self.none(), (form,))
            self.books.touch([into], note.at, note.id)
        elif content.of in METAL and note.id in self.metal:
            self._metal(note, content, into)

    def _metal(self, note: Note, content: Weight, vessel: str) -> None:
        """Powder or bars weighed: all lots of them together, once the last of them is."""
        scale = (content.scale_g or SCALE_G) / Z95
        self.bars.append(content.grams + scale * normal(f"scale {note.id}"))  # each lot weighed by itself
        last = [n for n in self.metal if self.metal[n] == content.of][-1]
        if note.id != last:
            return
        total, self.bars = np.sum(self.bars, axis=0), []
        self._aside()
        if content.of == "silver" and not content.vessel:
            self.melt(note)
            vessel = BAR
        chalk = of_span(self.chalk_g, "chalk") if content.of == "powder" or not self.melted else np.zeros(1)
        self.books.touch([vessel], note.at, note.id)
        self.books.weigh(vessel, total - chalk, note.id, note.at)

    def bar(self, note: Note, content: BarNote) -> None:
        """Bars written down one by one: all of them together, once the last of them is, by what they hold of silver."""
        if note.id != self.last_bar:
            return
        self._aside()
        self.melt(note)
        low, value, high = (sum(span[n] for span in self.barred) for n in range(3))
        self.books.weigh(BAR, of_span((low, value, high), f"bars {content.kind} {note.id}"), note.id, note.at)

    def evaporated(self, note: Note, content: Evaporated) -> None:
        """Less liquid, the same silver."""
        held = self.books.vessel(content.vessel)
        held.litres = content.left_l
        if held.contents is not None:
            held.contents = replace(held.contents, litres=content.left_l)
        self.books.touch([content.vessel], note.at, note.id)

    def weighed(self, note: Note, content: VesselWeighed) -> None:
        """A vessel weighed: its silver as the notes say is held against it."""
        held = self.books.vessel(content.vessel)
        tare = 0.0 if content.net else held.tare_g
        if tare is None:
            return  # nobody knows what the empty vessel weighs: the note says nothing of its silver yet
        wet = between(content.moisture or MOISTURE_UNKNOWN, f"moisture {note.id}")
        scale = (content.scale_g or SCALE_G) / Z95
        mass = np.maximum(0.0, content.grams - tare + scale * normal(f"scale {note.id}"))
        self.books.weigh(content.vessel, mass * (1.0 - wet) * share_of(content.form), note.id, note.at)
        self.books.touch([content.vessel], note.at, note.id)

    def emptied(self, note: Note, content: Emptying) -> None:
        """The stock vessel was handed over by a note of this batch."""
        if note.id not in self.elsewhere.emptied:
            self.stock_gone(note.id)

    def ammonia(self, note: Note, content: AmmoniaTest) -> None:
        """Copper checks took some."""
        loss = ammonia_test_loss(content.ml, content.mol_l, content.on_solid)
        taken = self.books.vessel(MAIN).take_solid(loss.silver_g, loss.cause)
        self.books.vessel(VIALS).put(self.none(), taken)
        self.books.touch([VIALS], note.at, note.id)

    def end(self) -> None:
        """What is not noted one by one: papers without a name, what sticks to glass."""
        while self.handed:
            self.stock_gone(self.handed.pop(0))
        if not self.books.inputs.any():
            return
        self._aside()

    def _aside(self) -> None:
        """Silver that left the batch's vessel on the way, nobody noted when: on papers without a name, on glass."""
        if self.set_aside:
            return
        self.set_aside = True
        named = sum(1 for held in self.books.holdings.values() if held.what_for == "paper")
        counted, vessel = self.counted.papers, self.books.vessel(MAIN)
        papers = (PAPERS_USED if not named else 0) if counted is None else max(0, int(counted) - named)
        glasses = GLASSES if self.counted.glasses is None else int(self.counted.glasses)
        for key, span, count, cause in ((PAPERS, PAPER_G, papers, "paper"), (GLASS, GLASS_G, glasses, "glass")):
            if count > 0:
                taken = vessel.take_solid((span[0] * count, span[1] * count, span[2] * count), cause)
                self.books.vessel(key).put(taken, self.none(), vessel.forms)


def share_of(form: str) -> float:
    """Mass share of silver in its chloride, its oxide, or metal."""
    return {"chloride": silver_share(), "oxide": SILVER_IN_OXIDE}.get(form, 1.0)


def metal_lots(notes: Sequence[Note]) -> dict[int, str]:
    """Notes of powder and of bars that count, by number: the lots that the balance counts, too."""
    return {lot.number: of for of in METAL for lot in lots_of(metal_weighings(notes), of)}


ACTS: dict[type[Content], Callable[[Player, Note, Any], None]] = {
    NamedVessel: Player.named,
    VesselHolds: Player.holds,
    Weight: Player.weight,
    BarNote: Player.bar,
    DecantNote: Player.decant,
    Pouring: Player.poured,
    Moved: lambda player, note, content: player.moved(note, content, player.batch),
    Filtered: Player.filtered,
    Evaporated: Player.evaporated,
    Spilled: Player.spilled,
    VesselWeighed: Player.weighed,
    HandedOver: Player.handed_over,
    Emptying: Player.emptied,
    AmmoniaTest: Player.ammonia,
}
