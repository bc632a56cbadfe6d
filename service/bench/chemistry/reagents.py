"""Lye, sugar and water for a mass of silver chloride, in units the user likes, and the heat that comes of it.

Atomic weights: periodictable (the abridged standard atomic weights of IUPAC/CIAAW). Heats: dissolving NaOH -44.5 kJ/mol
(worked calorimetry, and from memory); acid with lye -55.8 kJ/mol at infinite dilution, older texts -57.3. Ranges are
what the bench leaves open: moisture, purity, how many electrons the sugar gives.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from decimal import Decimal
from functools import cache

from service.bench.quantities import registry
from stripread.words import N_, _, number

DISSOLVING_NAOH_KJ_MOL = 44.5
NEUTRALISING_KJ_MOL = (55.8, 57.6)
# Silver oxide to metal by glucose in lye, kJ per mol of silver; from memory, not looked up, hence the wide range.
REDUCTION_KJ_MOL = (80.0, 180.0)
HEAT_CAPACITY = 4.18  # J/(g K), of the whole mass as if it were water: the rise comes out a little low for strong lye
STIRRABLE = 0.2  # solids in the slurry by mass, at most; common practice, no source

Span = tuple[float, float, float]  # low, value, high


@cache
def molar_mass(formula: str) -> float:
    """G/mol of ``formula`` ("AgCl", "NaOH", "C6H12O6") from periodictable's atomic weights.

    Raises
    ------
    ValueError
        If the formula can't be read.
    """
    import periodictable  # noqa: PLC0415 - slow to import, seldom needed

    try:
        return float(periodictable.formula(formula).mass)
    except (ValueError, KeyError) as problem:
        raise ValueError(_("no such formula: {formula!r}", formula=formula)) from problem


def silver_share() -> float:
    """Mass share of silver in silver chloride, 0.7526."""
    return molar_mass("Ag") / molar_mass("AgCl")


def written(value: float, digits: int = 3) -> str:
    """``value`` to so many figures, as people write amounts: 2750 becomes "2800" at two, never "2.8e+03"."""
    return number(Decimal(f"{value:.{digits}g}"), "f")


def shown(value: float, unit: str, wanted: str | None) -> str:
    """``value`` in ``unit`` written in the unit the user wants, three figures.

    Raises
    ------
    ValueError
        For a unit that is not known, or of another kind.
    """
    if wanted is None or wanted == unit:
        return f"{written(value)} {unit}"
    import pint  # noqa: PLC0415

    try:
        if re.fullmatch(r"[a-zµ_]{1,30}", wanted, re.IGNORECASE) is None:
            raise ValueError
        return f"{written(registry().Quantity(value, unit).to(wanted).magnitude)} {wanted.replace('_', ' ')}"
    except (pint.PintError, ValueError, TypeError, AttributeError, AssertionError) as problem:
        raise ValueError(_("can't show {unit} in {wanted!r}", unit=unit, wanted=wanted)) from problem


@dataclass(frozen=True)
class Chloride:
    """Silver chloride at hand: dry mass and mol as (low, value, high)."""

    dry_g: Span
    mol: Span
    silver_g: Span


def chloride(weighed_g: float, moisture: tuple[float, float] = (0.0, 0.0), scale_g: float = 0.0) -> Chloride:
    """Dry silver chloride in ``weighed_g``, of which the share ``moisture`` (low, high) is water.

    Parameters
    ----------
    weighed_g
        What the scale says, g.
    moisture
        Share by mass, 0 to below 1. A drained cake of chloride holds some 0.2 to 0.5 (common practice, no source).
    scale_g
        The scale's own uncertainty (half width), g.

    Raises
    ------
    ValueError
        For a moisture outside 0-1 or a mass not above 0.
    """
    low, high = min(moisture), max(moisture)
    if not 0.0 <= low <= high < 1.0:
        raise ValueError(_("the moisture share lies between 0 and 1"))
    if not weighed_g > 0.0:
        raise ValueError(_("the mass must be above 0"))
    dry = (
        max(0.0, weighed_g - scale_g) * (1.0 - high),
        weighed_g * (1.0 - 0.5 * (low + high)),
        (weighed_g + scale_g) * (1.0 - low),
    )
    mass = molar_mass("AgCl")
    return Chloride(dry, _times(dry, 1.0 / mass), _times(dry, silver_share()))


def _times(span: Span, factor: float) -> Span:
    return span[0] * factor, span[1] * factor, span[2] * factor


@dataclass(frozen=True)
class Dose:
    """What to weigh out. Spans are (low, value, high) from the chloride's own range; grams, litres, kJ, kelvin."""

    lye_g: Span
    sugar_g: Span
    water_l: Span
    lye_mol_l: float
    dissolving_kj: float
    rise_lye_k: float  # if all the lye went into all the water at once
    rise_sugar_k: tuple[float, float]  # if all the silver were reduced at once
    lye_portions: int  # so that none warms the water by more than 8 K
    sugar_portions: int


def dose(
    stock: Chloride,
    *,
    lye_excess: float = 1.5,
    sugar_excess: float = 1.2,
    purity: float = 0.97,
    sugar: str = "C6H12O6",
    reducing: int = 1,
    with_sugar: bool = True,
) -> Dose:
    """Lye, sugar and water for the whole amount.

    The lye converts 1 mol of chloride by 1 mol, and neutralises the acid the sugar turns into: half a mol for each mol
    of silver at least. The sugar need, half a mol for each mol of silver (two electrons a molecule), is an upper bound:
    in hot lye it gives more. ``*_excess`` multiplies these; ``purity`` is of the lye (it draws water and carbonate).
    ``sugar`` is a formula, ``reducing`` how many molecules that reduce one of it gives (inverted table sugar: two).

    Raises
    ------
    ValueError
        For an excess below 1 or a purity outside 0-1.
    """
    if lye_excess < 1.0 or sugar_excess < 1.0:
        raise ValueError(_("an excess below 1 is a shortage: it must be 1 or more"))
    if not 0.0 < purity <= 1.0:
        raise ValueError(_("the purity lies between 0 and 1"))
    lye_for_one = molar_mass("NaOH") * (1.5 if with_sugar else 1.0) * lye_excess / purity
    lye = _times(stock.mol, lye_for_one)
    sugar_g = _times(stock.mol, 0.5 * molar_mass(sugar) / reducing * sugar_excess) if with_sugar else (0.0, 0.0, 0.0)
    water = _times(stock.dry_g, (1.0 / STIRRABLE - 1.0) / 1000.0)
    strength = stock.mol[1] * lye_for_one * purity / molar_mass("NaOH") / water[1]
    heat = lye[1] * purity / molar_mass("NaOH") * DISSOLVING_NAOH_KJ_MOL
    rise = temperature_rise(heat, water[1] * 1000.0 + lye[1])
    mass = water[1] * 1000.0 + lye[1] + sugar_g[1] + stock.dry_g[1]
    low, high = (temperature_rise(stock.mol[1] * kj, mass) if with_sugar else 0.0 for kj in REDUCTION_KJ_MOL)
    return Dose(lye, sugar_g, water, strength, heat, rise, (low, high), portions(rise), portions(high))


def temperature_rise(heat_kj: float, mass_g: float) -> float:
    """Kelvin that ``heat_kj`` warms ``mass_g`` of watery liquid, with no losses.

    Raises
    ------
    ValueError
        For a mass that is not above 0.
    """
    if mass_g <= 0:
        raise ValueError(_("the mass must be above 0"))
    return heat_kj * 1000.0 / (mass_g * HEAT_CAPACITY)


def portions(rise_k: float, each_k: float = 8.0) -> int:
    """Portions so that none warms the vessel by more than ``each_k`` kelvin."""
    return max(1, math.ceil(rise_k / each_k - 1e-9))


# Sources of the cautions: lye and heat http://www.lyedepot.com/storage_and_handling/index.html; burns, glass, aluminium
# https://liquisearch.com/sodium_hydroxide/safety; ammonia
# http://www.ihcworld.com/royellis/ABCSafe/chemicals/silver-nitrate.htm; the rest: common practice, no source.
LYE_CAUTIONS = (
    N_("Put lye into cold water, a little at a time, stirring. Never pour water on lye, never lye into hot water."),
    N_("Goggles, face shield, gloves, long sleeves. Lye on skin or in an eye: rinse 15 minutes, see a doctor."),
    N_("Wash the acid out first: acid left in the chloride meets the lye with about 57 kJ a mol."),
    N_(
        "No aluminium, no zinc: lye makes hydrogen of them, which burns. Lye etches glass with time; "
        "hot glass breaks when cold water meets it: use a tray."
    ),
)
SUGAR_CAUTIONS = (
    N_("Add the sugar in small portions to a vessel at most half full: it reacts fast, warms up and foams."),
    N_("Never on a stiff slurry, and not near boiling: it boils over. Thin it until it stirs, start at 50 to 60 °C."),
    N_("Sugar goes in dissolved in a little water, never dry with water after it: it reacts in one burst."),
    N_("No ammonia near this slurry: with lye, oxide or sugar it makes explosive silver compounds."),
)
RULES = N_("Local law, the data sheets of acid and lye, and licensed practice go before anything said here.")
