"""One vessel while the notes are played: its silver as draws, solid and dissolved, and what liquid it holds.

Every amount is one array of two parts: (N,) draws as the notes say, and (S,) test grams. A test gram is one that might
have been lost unseen at one place and time; where it would have gone on to tells which weighings would miss it.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from service.bench.chemistry.reagents import Span
from service.bench.ledger.draws import Array, N, of_span
from service.bench.vessel.contents import EMPTY, Base, Contents, together

VOLUME = 0.03  # of a volume read off a vessel, as a share to each side; common practice, no source


def spread(drawn: Array, sites: int) -> Array:
    """An amount (N + S,) that does not depend on what is lost, g, from its draws (N,)."""
    return np.concatenate([drawn, np.zeros(sites)])


def as_share(drawn: Array, sites: int) -> Array:
    """A share (N + S,) from its draws (N,), 0 to 1; test grams go by its mean."""
    held = np.clip(drawn, 0.0, 1.0)
    return np.concatenate([held, np.full(sites, held.mean())])


def all_of(sites: int) -> Array:
    """The share of everything, (N + S,)."""
    return np.ones(N + sites)


@dataclass
class Holding:
    """A vessel as it stands after some notes; ``forms`` of its solid silver, ``contents`` None where nobody said.

    ``solid`` and ``dissolved``: silver (N + S,), g. ``batch`` is 0 for the stock vessel and for places that are no
    vessels; ``litres`` None where nobody said.
    """

    name: str
    what_for: str
    sites: int
    batch: int = 0
    tare_g: float | None = None
    litres: float | None = None
    contents: Contents | None = None
    forms: tuple[str, ...] = ()
    at: str = ""
    note: int = 0
    weighed_by: int = 0  # the note of its newest weighing
    solid: Array = field(default_factory=lambda: np.zeros(0))
    dissolved: Array = field(default_factory=lambda: np.zeros(0))

    def __post_init__(self) -> None:
        if not self.solid.size:
            self.solid = np.zeros(N + self.sites)
            self.dissolved = np.zeros(N + self.sites)

    @property
    def silver(self) -> Array:
        """All silver in it, (N + S,)."""
        return np.asarray(self.solid + self.dissolved)

    def take(self, solid: Array, dissolved: Array) -> tuple[Array, Array]:
        """Take these shares (N + S,) out of it; what was taken, both (N + S,), g."""
        taken = self.solid * solid, self.dissolved * dissolved
        self.solid, self.dissolved = self.solid - taken[0], self.dissolved - taken[1]
        return taken

    def take_solid(self, grams: Span, cause: str) -> Array:
        """Take so much of its solid out, as far as it is there; what was taken, (N + S,), g."""
        wanted = spread(of_span(grams, cause), self.sites)
        taken = np.concatenate([np.minimum(wanted, np.maximum(self.solid, 0.0))[:N], np.zeros(self.sites)])
        self.solid = self.solid - taken
        return np.asarray(taken)

    def put(self, solid: Array, dissolved: Array, forms: tuple[str, ...] = ()) -> None:
        """Put this in, both (N + S,), g."""
        self.solid, self.dissolved = self.solid + solid, self.dissolved + dissolved
        self.forms = tuple(dict.fromkeys((*self.forms, *forms)))

    def pour_in(self, liquid: Contents) -> None:
        """Add a liquid."""
        self.contents = together(self.contents or EMPTY, liquid)
        self.litres = self.contents.litres or None

    def pour_out(self, share: float) -> Contents | None:
        """Take a share of its liquid away; what went, None where nobody knows."""
        if self.contents is None:
            return None
        went, self.contents = scaled(self.contents, share), scaled(self.contents, 1.0 - share)
        self.litres = self.contents.litres or None
        return went


def scaled(held: Contents, share: float) -> Contents:
    """A share of a well mixed liquid."""
    base = held.base

    def times(span: Span) -> Span:
        return span[0] * share, span[1] * share, span[2] * share

    part = Base(times(base.mol), base.ends, base.unknown, (base.most[0] * share, base.most[1] * share))
    amounts = tuple((kind, times(span)) for kind, span in held.amounts)
    return together(replace(held, litres=held.litres * share, base=part, amounts=amounts), EMPTY)
