"""A melt worked out from what is typed, for command line, page and HTTP alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from service.bench.melting.fineness import Fineness, With, by_assay, by_density, not_said
from service.bench.melting.melt import Bar, Melt, Weighed, melt_of
from service.bench.procedure import load_procedure
from service.bench.quantities import WrongQuantity, typed_number, typed_range
from stripread.words import N_, _, say

HANGING = N_(
    "Weigh a bar hanging on a thin thread in water that has stood, clear of walls and bottom; brush bubbles off, take "
    "the thread off the weight. A hollow or a cast skin holds air: file it open."
)


@dataclass(frozen=True)
class MeltPlan:
    """The melt, in figures and in words."""

    melt: Melt
    cautions: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """JSON-ready; spans as (low, value, high)."""
        return asdict(self)

    @property
    def lines(self) -> list[str]:
        """The plan in words."""
        by = any(bar.fineness.by == "density" for bar in self.melt.bars)
        how = [say(HANGING)] if by else []
        return [*self.melt.sentences, *how, "", *(f"! {text}" for text in self.cautions)]


def melt_plan(
    weighed: Weighed, bars: Sequence[str], *, temp_c: float = 20.0, other: With = "copper", scale_g: float = 0.01
) -> MeltPlan:
    """Work a melt out.

    Parameters
    ----------
    weighed
        Powder, flux, slag and crucible.
    bars
        Each as ``bar_of_text`` takes it.
    temp_c, other, scale_g
        Of the water that bars hang in, what the rest of them is, and how far the scale for the bars is right.

    Raises
    ------
    WrongQuantity
        If a bar can't be read.
    ValueError
        As ``melt_of`` and ``by_density``.
    """
    made = [bar_of_text(text, place, temp_c, other, scale_g) for place, text in enumerate(bars, 1)]
    return MeltPlan(
        melt_of(weighed, made), tuple(map(say, load_procedure("chloride_lye_sugar").stage("melt").cautions))
    )


def bar_of_text(text: str, place: int, temp_c: float, other: With, scale_g: float) -> Bar:
    """ "195.2 g", "195.2 g:995 ‰" (declared) or "195.2 g/176.6 g" (in air, and hanging in water) as a bar.

    Raises
    ------
    WrongQuantity
        If it can't be read.
    ValueError
        As ``by_density``.
    """
    mass, slash, water = text.partition("/")
    mass, colon, assay = (text if not slash else mass).partition(":")
    grams = typed_number("grams", mass)
    fine: Fineness = not_said()
    if slash:
        fine = by_density(grams, typed_number("grams", water), temp_c=temp_c, scale_g=scale_g, other=other)
    elif colon:
        low, high = typed_range(assay.strip())
        if not 0.0 < low <= high <= 1.0:
            raise WrongQuantity(_("a fineness is 925 ‰ or 0.925, not {text!r}", text=assay.strip()))
        fine = by_assay((low, high))
    return Bar(_("bar {place}", place=place), grams, scale_g, fine)
