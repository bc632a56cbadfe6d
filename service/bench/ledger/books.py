"""The books while notes are played: vessels by their keys, accounts that are no vessels, test grams, weighings."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from service.bench.chemistry.reagents import Span
from service.bench.ledger.draws import Array, N, of_span
from service.bench.ledger.vessels import Holding, spread
from service.bench.ledger.weighed import Site, Weighed
from service.bench.notes.of_vessels import MAIN, STOCK, same_vessel
from stripread.words import N_

BAR, GLASS, PAPERS, VIALS = "·bar", "·glass", "·papers", "·vials"
MELTED, SLAG, CRUCIBLE = "·melt", "·slag", "·crucible"  # of a melt of which nothing was weighed; of one that was
SPILT, GONE, GIVEN = "·spilt", "·gone", "·given"
PLACES: dict[str, tuple[str, str]] = {  # places that have no note of their own: name, what for
    MAIN: (N_("the batch's vessel"), "main"),
    STOCK: (N_("the stock vessel"), "stock"),
    BAR: (N_("bars"), "bar"),
    GLASS: (N_("glass and rods"), "glass"),
    PAPERS: (N_("filter papers without a name"), "paper"),
    VIALS: (N_("vials of ammonia tests"), "other"),
    MELTED: (N_("crucible and slag"), "slag"),
    SLAG: (N_("the slag that came off"), "slag"),
    CRUCIBLE: (N_("what stuck to the crucible"), "crucible"),
    SPILT: (N_("spilt"), "spilt"),
    GONE: (N_("handed over"), "gone"),
    GIVEN: (N_("given to other batches"), "given"),
}


@dataclass
class Books:
    """All that a batch's silver is in. ``sites`` bounds how many test grams S there may be; amounts are (N + S,), g."""

    sites: int
    holdings: dict[str, Holding] = field(default_factory=dict)
    inputs: Array = field(default_factory=lambda: np.zeros(0))
    places: list[Site] = field(default_factory=list)
    weighings: list[Weighed] = field(default_factory=list)
    given: dict[int, Array] = field(default_factory=dict)  # note -> what it took to another batch
    main: str = MAIN  # the key of the name that the batch's own vessel was given

    def __post_init__(self) -> None:
        self.inputs = np.zeros(N + self.sites)

    def key(self, name: str) -> str:
        """What a vessel is kept under: its name in small letters; the batch's own by whatever name it was given."""
        key = same_vessel(name)
        return MAIN if key == self.main else key

    def vessel(self, name: str) -> Holding:
        """The vessel of this name; there from now on."""
        key = self.key(name)
        if key not in self.holdings:
            title, what_for = PLACES.get(key, (name, "other"))
            self.holdings[key] = Holding(title, what_for, self.sites)
        return self.holdings[key]

    def received(self, span: Span, cause: str) -> Array:
        """Silver that comes into the batch, g, (N + S,)."""
        amount = spread(of_span(span, cause), self.sites)
        self.inputs = self.inputs + amount
        return amount

    def might_lose(self, name: str, before: int) -> None:
        """A test gram lost in this vessel, unseen, before a note takes something out of it or weighs it.

        Of a vessel that nothing touched since it was weighed none: what is lost then is lost on the way into the next.
        """
        key = self.key(name)
        if key in self.holdings and 0 < self.holdings[key].note == self.holdings[key].weighed_by:
            return
        if key not in self.holdings or len(self.places) == self.sites or not self.holdings[key].silver[:N].any():
            return
        number = len(self.places)
        self.places.append(Site(number, key, before, float(np.quantile(self.holdings[key].silver[:N], 0.99))))
        self.holdings[key].solid[N + number] += 1.0

    def weigh(self, name: str, measured: Array, note: int, at: str) -> None:
        """Hold a vessel's solid silver against a weighing, (N,) draws of g."""
        self.might_lose(name, note)
        held = self.vessel(name)
        missed = held.solid[N:].copy()
        self.weighings.append(Weighed(self.key(name), note, at, held.solid[:N] - measured, missed))
        held.weighed_by = note

    def touch(self, names: Iterable[str], at: str, note: int) -> None:
        """These vessels were touched by a note."""
        for name in names:
            held = self.vessel(name)
            held.at, held.note = at, note
