"""Dosing without a dry weight, in figures and in words, for command line, page and HTTP alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from service.bench.chemistry.balance import expected_from_metal
from service.bench.chemistry.reagents import LYE_CAUTIONS, SUGAR_CAUTIONS, Chloride, silver_share, written
from service.bench.dosing.by_portions import MOST_LEFT, Portion, Portions, by_portions
from service.bench.dosing.by_volume import AIR_ML, DILUTE, DIRT, ByVolume, by_volume
from service.bench.dosing.reagents_for import By, chloride_of, needs
from service.bench.procedure import load_procedure
from service.bench.quantities import WrongQuantity, typed_number, typed_range
from stripread.words import _, say

CAME_THROUGH = (0.9, 1.0)  # share of the metal's silver that is in the chloride; common practice, no source


@dataclass(frozen=True)
class DosePlan:
    """The chloride, where it was found out at all; ``said`` as what and how much; what the range rests on."""

    chloride: Chloride | None
    said: tuple[tuple[str, str], ...]
    rests_on: tuple[str, ...]
    cautions: tuple[str, ...] = ()
    volume: ByVolume | None = None
    portions: Portions | None = None

    def to_dict(self) -> dict[str, Any]:
        """JSON-ready."""
        return asdict(self)

    @property
    def lines(self) -> list[str]:
        """The plan in words."""
        told = [f"{what:22} {how}" for what, how in self.said]
        return [*told, *self.rests_on, *([""] if self.cautions else []), *(f"! {text}" for text in self.cautions)]


def volume_plan(
    water_g: float,
    sludge_g: float,
    *,
    empty_g: float | None = None,
    temp_c: float = 20.0,
    liquid: tuple[float, float] | None = None,
    dirt: tuple[float, float] | None = None,
    scale_g: float = 0.1,
    mark_ml: float = 1.0,
    by: By = "lye",
    unit: str | None = None,
) -> DosePlan:
    """By the volume that the sludge takes in a vessel filled to a mark; parameters and errors as ``by_volume``."""
    found = by_volume(
        water_g,
        sludge_g,
        empty_g=empty_g,
        temp_c=temp_c,
        liquid=liquid,
        dirt=DIRT if dirt is None else dirt,
        scale_g=scale_g,
        mark_ml=mark_ml,
    )
    stock = chloride_of(found.dry_g)
    rests = [
        _(
            "Silver chloride 5.56 g/mL; scale ±{scale:g} g and mark ±{mark:g} mL, each twice; up to {air:g} mL of air.",
            scale=scale_g,
            mark=mark_ml,
            air=AIR_ML[1],
        ),
        _(
            "Each mL of air in the sludge hides {grams} g: stir, tap, let it stand before you fill up.",
            grams=written(found.air_hides_g),
        ),
    ]
    if liquid is None:
        rests.append(
            _(
                "The liquid between counts as water to slightly acid water (up to {more:g} g/mL more): wash it first, "
                "or say its density.",
                more=DILUTE,
            )
        )
    low, high = DIRT if dirt is None else dirt
    rests.append(
        _("Of the solid {low:.0%} to {high:.0%} by volume may be dirt; metal in it reads high.", low=low, high=high)
    )
    return DosePlan(stock, tuple(needs(stock, by, unit)), tuple(rests), _cautions(by), volume=found)


def expected_plan(
    metal_g: float,
    fineness: tuple[float, float],
    *,
    through: tuple[float, float] = CAME_THROUGH,
    scale_g: float = 0.1,
    by: By = "lye",
    unit: str | None = None,
) -> DosePlan:
    """By the metal that went in: its silver, less what did not come ``through`` to the chloride (share, low and high).

    Raises
    ------
    ValueError
        For a mass not above 0, or a fineness or a share outside 0 to 1.
    """
    if not 0.0 < through[0] <= through[1] <= 1.0:
        raise ValueError(_("the share that came through lies between 0 and 1"))
    low, value, high = expected_from_metal(metal_g, fineness, scale_g)
    share = silver_share()
    stock = chloride_of((low * through[0] / share, value * 0.5 * sum(through) / share, high * through[1] / share))
    rests = _(
        "Of the metal's silver {low:.0%} to {high:.0%} counts as come through to the chloride.",
        low=through[0],
        high=through[1],
    )
    return DosePlan(stock, tuple(needs(stock, by, unit)), (rests,), _cautions(by))


def portions_plan(texts: Sequence[str], done: float = 0.01) -> DosePlan:
    """By portions with pictures, each as ``portion_of_text`` takes it.

    Raises
    ------
    WrongQuantity
        If one can't be read.
    ValueError
        As ``by_portions``, and for an end that is no small share.
    """
    if not 0.0 < done <= MOST_LEFT:
        raise WrongQuantity(_("the end is a small pale share, up to 10 % (write 1 % or 0.01), not {done:g}", done=done))
    found = by_portions([portion_of_text(text) for text in texts], done)
    said = [(_("Went in"), f"{written(found.added_g)} g"), (_("Where it stands"), found.sentence)]
    rests = _("A picture sees the surface: dark oxide coats pale chloride. Stir and crush before each picture.")
    return DosePlan(None, tuple(said), (rests,), portions=found)


def portion_of_text(text: str) -> Portion:
    """ "20 g:0.31-0.40" or "20:35 %": a portion and the pale share after it; "20" alone where no picture was taken.

    Raises
    ------
    WrongQuantity
        If it can't be read.
    """
    grams, colon, pale = text.partition(":")
    mass = 0.0 if grams.strip() in ("0", "0 g") else typed_number("grams", grams)
    if not colon:
        return Portion(mass, None)
    low, high = typed_range(pale.strip())
    if not 0.0 <= low <= high <= 1.0:
        raise WrongQuantity(_("a pale share lies between 0 and 1 (35 % is 0.35), not {pale!r}", pale=pale.strip()))
    return Portion(mass, (low, 0.5 * (low + high), high))


def _cautions(by: By) -> tuple[str, ...]:
    if by == "lye":
        return tuple(map(say, (*LYE_CAUTIONS, *SUGAR_CAUTIONS)))
    return tuple(map(say, load_procedure(f"chloride_{by}").stage("reduce").cautions))
