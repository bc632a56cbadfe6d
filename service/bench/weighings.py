"""Weights of what a batch starts from: how wet, in how many lots, and whether a second one replaces or adds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from service.bench.chemistry.balance import expected_from_metal
from service.bench.chemistry.reagents import Span, chloride
from service.bench.notes import Note, Weight
from service.bench.quantities import typed_range
from stripread.words import N_

Again = Literal["replaces", "adds"]
# Share of water, by mass, in chloride; common practice, no source: a drained cake holds 0.2 to 0.5, one dried through
# a few thousandths at most. Where nobody says which it is, it may be either.
MOISTURES: dict[str, tuple[float, float]] = {"dry": (0.0, 0.01), "wet": (0.2, 0.5), "drained": (0.2, 0.5)}
MOISTURE_UNKNOWN = (0.0, 0.5)
FINENESS_UNKNOWN = (0.5, 1.0)
NOT_SAID = N_(
    "Nobody said how wet it was: taken as dry to drained (0 to 50 % water). Dry it, or say "
    "--moisture dry, drained, or a range."
)


def moisture_of(text: str | None) -> tuple[float, float]:
    """The share of water, (low, high): "dry", "drained", "0.25-0.3", "20 to 40 %"; unknown where nothing is said.

    Raises
    ------
    ValueError
        If it can't be read.
    """
    words = (text or "").strip().lower()
    if not words:
        return MOISTURE_UNKNOWN
    return MOISTURES[words] if words in MOISTURES else typed_range(words)


@dataclass(frozen=True)
class Weighing:
    """One weight, g, of "chloride" or "input" metal; ``again`` what a later one is to the earlier ones.

    ``number`` is that of its note; ``replaces`` the number of the one whose place it takes.
    """

    of: str
    grams: float
    scale_g: float = 0.0
    moisture: tuple[float, float] | None = None
    fineness: tuple[float, float] | None = None
    again: Again | None = None
    replaces: int | None = None
    number: int = 0


def metal_weighings(notes: Sequence[Note]) -> list[Weighing]:
    """Weights of powder and of melted silver, in the order of their notes."""
    return [
        Weighing(w.of, w.grams, w.scale_g or 0.0, again=w.again, replaces=w.replaces, number=note.id)
        for note in notes
        if isinstance(w := note.content, Weight) and w.of in ("powder", "silver")
    ]


def lots_of(weighings: Sequence[Weighing], of: str) -> list[Weighing]:
    """The lots of one thing that count: what adds is one more, what replaces takes the place of the one it names.

    One that replaces and names none takes the place of all: so it was written before a lot could be named.
    """
    lots: list[Weighing] = []
    for w in weighings:
        if w.of != of or w.grams <= 0.0:
            continue
        named = [place for place, lot in enumerate(lots) if w.replaces is not None and lot.number == w.replaces]
        if named:
            lots[named[0]] = w
        elif w.again == "adds" or w.replaces is not None:
            lots.append(w)
        else:
            lots = [w]
    return lots


def expected_of(weighings: Sequence[Weighing]) -> Span | None:
    """Silver expected, g, (low, value, high): chloride where it was weighed, else the input metal; None without either.

    Lots add up, their ends too: whoever misjudges the water of one misjudges the others'. A weight of 0 is passed over.
    """
    for of in ("chloride", "input"):
        lots = lots_of(weighings, of)
        if lots:
            spans = [_silver(w) for w in lots]
            return sum(s[0] for s in spans), sum(s[1] for s in spans), sum(s[2] for s in spans)
    return None


def _silver(w: Weighing) -> Span:
    if w.of == "chloride":
        return chloride(w.grams, w.moisture or MOISTURE_UNKNOWN, w.scale_g).silver_g
    return expected_from_metal(w.grams, w.fineness or FINENESS_UNKNOWN, w.scale_g)
