"""Silver brought down out of a stock vessel: salt, acid or metal for it, and what stays dissolved after.

As chloride, Ag+ + Cl- -> AgCl, or on a metal, 2 Ag+ + M -> 2 Ag + M2+ (copper, zinc, iron). Atomic weights as in
``reagents``. What stays over the chloride: ``silver.chloride_solubility`` on four published sets of constants (NIST 46
by minteq.v4.dat and others, ``data/silver_constants.toml``).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from service.bench.chemistry.reagents import Span, molar_mass
from service.bench.chemistry.silver import DROP_SEES, SILVER_G_MOL, chloride_solubility
from stripread.words import _

Way = Literal["salt", "acid", "copper", "zinc", "iron"]
METALS: dict[str, str] = {"copper": "Cu", "zinc": "Zn", "iron": "Fe"}
# mol/L of chloride to have over at the end. Silver chloride dissolves least at 2 to 4 mmol/L (data as above); ten times
# that is far enough from too little, and holds less than 0.2 mg/L more.
OVER, OVER_MOST = 0.01, 0.05
# Times the metal that the silver needs: its face is coated before all of it has worked; common practice, no source.
EXCESS: dict[str, float] = {"copper": 1.5, "zinc": 1.3, "iron": 1.5}
# Standard potentials at 25 °C, V against hydrogen: handbook figures, from memory, not looked up.
POTENTIALS = {"silver": 0.7996, "copper": 0.3419, "zinc": -0.7618, "iron": -0.447}
NERNST = 0.05916  # V for a power of ten of one electron at 25 °C


@dataclass(frozen=True)
class SilverDose:
    """What goes in, and what is left. Spans are (low, value, high).

    ``reagent_g`` is pure salt, hydrogen chloride or metal; ``most_g`` the amount beyond which chloride holds silver
    dissolved again, None for a metal; ``left_mg_l`` stays dissolved when it is finished, ``left_mg`` in all of it.
    """

    silver_g: Span
    reagent_g: Span
    most_g: float | None
    solid_g: Span  # what settles: chloride or metal
    left_mg_l: Span
    left_mg: Span
    metal_mg_l: Span | None  # of the metal that goes into solution instead, of cementation


def silver_dose(litres: float, silver_mg_l: tuple[float, float], way: Way, *, chloride: float = 0.0) -> SilverDose:
    """Reagent for the silver of a vessel.

    Parameters
    ----------
    litres, silver_mg_l
        Its volume and how much silver is dissolved in it, (low, high).
    chloride
        mol/L that is in it already.

    Raises
    ------
    ValueError
        For a volume or amounts that are not above 0, or a way that is none.
    """
    low, high = min(silver_mg_l), max(silver_mg_l)
    if not litres > 0.0 or not 0.0 <= low <= high or not high > 0.0:
        raise ValueError(_("the volume and the silver must be above 0"))
    silver = tuple(litres * c / 1000.0 for c in (low, 0.5 * (low + high), high))
    mol = tuple(g / SILVER_G_MOL for g in silver)
    if way in METALS:
        mass, times = molar_mass(METALS[way]), EXCESS[way]
        grams = tuple(0.5 * m * mass * times for m in mol)
        dissolves = tuple(0.5 * m * mass * 1000.0 / litres for m in mol)
        left = _no_more(DROP_SEES, (low, high), least=0.0)
        return SilverDose(
            _span(silver), _span(grams), None, _span(silver), left, _times(left, litres), _span(dissolves)
        )
    if way not in ("salt", "acid"):
        raise ValueError(_("silver comes down by salt, acid, copper, zinc or iron, not {way!r}", way=way))
    mass = molar_mass("NaCl" if way == "salt" else "HCl")
    # The low end has next to no silver to meet, the high end all of it; each leaves the excess over.
    need = tuple(max(0.0, m + (OVER - chloride) * litres) for m in mol)
    most = max(0.0, mol[2] + (OVER_MOST - chloride) * litres)
    ends = max(OVER, chloride)
    held = [chloride_solubility(min(12.0, c), 25.0, way == "acid") for c in (ends, max(OVER_MOST, chloride))]
    # A chloride that has just fallen is still hazy: fines pass for dissolved until it has settled.
    left = _no_more((held[0].low, held[0].mg_l, held[1].high), (low, high))
    chloride_g = tuple(g * molar_mass("AgCl") / SILVER_G_MOL for g in silver)
    grams = tuple(n * mass for n in need)
    return SilverDose(_span(silver), _span(grams), most * mass, _span(chloride_g), left, _times(left, litres), None)


def silver_over_metal_mol_l(metal: str, ion_mol_l: float) -> float:
    """Silver ions (mol/L) that stay at equilibrium over a metal with so much of its own ion: 2 Ag+ + M = 2 Ag + M2+."""
    log_k = 2.0 * (POTENTIALS["silver"] - POTENTIALS[metal]) / NERNST
    return float((ion_mol_l * 10.0**-log_k) ** 0.5)


def _no_more(left: Span, silver_mg_l: tuple[float, float], least: float | None = None) -> Span:
    """What stays dissolved, mg/L, never more than was there; ``least`` in place of its low end."""
    low, high = silver_mg_l
    return min(left[0] if least is None else least, low), min(left[1], 0.5 * (low + high)), min(left[2], high)


def _span(values: tuple[float, ...]) -> Span:
    return values[0], values[1], values[2]


def _times(span: Span, factor: float) -> Span:
    return span[0] * factor, span[1] * factor, span[2] * factor
