"""The batch's metal melted: what goes into the bars, what slag and crucible may keep, what was not melted yet."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from service.bench.chemistry.reagents import Span
from service.bench.ledger.books import BAR, CRUCIBLE, MELTED, SLAG
from service.bench.ledger.draws import Z95, Array, N, normal, of_span
from service.bench.ledger.pouring import Pours
from service.bench.ledger.vessels import as_share, spread
from service.bench.melting.melt import Weighed, most_of_slag, silver_of_slag
from service.bench.melting.of_batch import weighed_of
from service.bench.notes import MeltNote, Note
from service.bench.notes.of_vessels import MAIN

MELT: Span = (0.0005, 0.004, 0.02)  # share of the silver that stays in crucible and slag; common practice, no source
ALL = 0.98  # of the powder from which on all of it counts as melted: the rest is dust; common practice, no source
CAUSE = "silver in slag"  # whoever misjudges one slag misjudges the others, and what stuck to the crucible


class Melts(Pours):
    """Melts on the books of one batch; all of them together, once the last of its bars is weighed."""

    melts: Sequence[tuple[int, Weighed]] = ()
    powder_g: float | None = None  # as weighed before, all lots of it
    chalk_g: Span = (0.0, 0.0, 0.0)
    melted = False

    def melt(self, note: Note) -> None:
        """The batch's metal into its bars but for what stays in crucible and slag."""
        melts = [(number, one) for number, one in self.melts if number < note.id]
        self._powder_weighed(melts, note)
        self.books.might_lose(MAIN, note.id)
        main = self.books.vessel(MAIN)
        share = as_share(np.full(N, self._melted_share(melts)), self.books.sites)
        solid, dissolved = main.take(share, share)
        touched = [BAR]
        for key, kept in self._kept(melts, solid):
            self.books.vessel(key).put(kept, self.none(), ("metal",))
            solid = solid - kept
            touched.append(key)
        self.books.vessel(BAR).put(solid + dissolved, self.none(), ("metal",))
        self.books.touch(touched, note.at, note.id)
        self.melted = True

    def _powder_weighed(self, melts: Sequence[tuple[int, Weighed]], note: Note) -> None:
        """What went into the crucible is a weighing of the powder, where that was not weighed by itself."""
        grams = [one.powder_g for _number, one in melts if one.powder_g]
        if self.powder_g is not None or not melts or len(grams) < len(melts):
            return
        scale = sum(one.scale_g / Z95 * normal(f"scale {number}") for number, one in melts)
        self.books.weigh(MAIN, sum(grams) + scale - of_span(self.chalk_g, "chalk"), note.id, note.at)

    def _melted_share(self, melts: Sequence[tuple[int, Weighed]]) -> float:
        """How much of the powder was melted: all, but where the melts took less than was weighed of it."""
        grams = [one.powder_g for _number, one in melts if one.powder_g]
        if not self.powder_g or not melts or len(grams) < len(melts) or sum(grams) >= ALL * self.powder_g:
            return 1.0
        return sum(grams) / self.powder_g

    def _kept(self, melts: Sequence[tuple[int, Weighed]], solid: Array) -> list[tuple[str, Array]]:
        """What stays where, (N + S,), g: by the weights of slag and crucible, else a share of the silver."""
        found: dict[str, Array] = {}
        left = np.maximum(solid[:N], 0.0)
        unweighed = 0
        for _number, one in melts:
            slag, gained = one.slag_g, one.gained_g
            if slag is None and gained is None and not one.flux_g:
                unweighed += 1
                continue
            span = silver_of_slag(one)
            kept = np.minimum(np.minimum(of_span(span, CAUSE), max(span[2], most_of_slag(one))), left)
            left = left - kept
            if slag is None and gained is None:
                parts = {self._place(MELTED, "slag", "crucible"): 1.0}
            else:
                of_slag = (slag or 0.0) / ((slag or 0.0) + (gained or 0.0) or 1.0)
                parts = {self._place(SLAG, "slag"): of_slag, self._place(CRUCIBLE, "crucible"): 1.0 - of_slag}
            for key, part in parts.items():
                if part > 0.0:
                    found[key] = found.get(key, self.none()) + spread(part * kept, self.books.sites)
        if unweighed or not melts:
            share = (unweighed or 1) / max(1, len(melts)) * as_share(of_span(MELT, "melt"), self.books.sites)
            rest = np.concatenate([np.minimum(share[:N] * solid[:N], left), share[N:] * solid[N:]])
            key = self._place(MELTED, "slag", "crucible")
            found[key] = found.get(key, self.none()) + rest
        return list(found.items())

    def _place(self, otherwise: str, *what_for: str) -> str:
        """The vessel that a note named for it, if one did."""
        named = [key for key, held in self.books.holdings.items() if held.what_for in what_for and key[0] != "·"]
        return named[0] if named else otherwise


def melt_notes(notes: Sequence[Note]) -> list[tuple[int, Weighed]]:
    """What the melts of a batch weighed, each with its note's number; ``notes`` those that count, in order."""
    return [(note.id, weighed_of(note.content)) for note in notes if isinstance(note.content, MeltNote)]
