"""Silver chloride reduced by zinc or iron in dilute acid: metal, acid, hydrogen, heat, as ranges.

2 AgCl + M -> 2 Ag + MCl2, and what is left of the metal: M + 2 H+ -> M2+ + H2. Atomic weights as in ``reagents``;
CIAAW: zinc 65.38(2), http://pac.iupac.org/publications/pac/81/11/2131/ ; iron 55.845(2),
http://old.iupac.org/reports/1996/6812coplen/atwt1995_t2.html .
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from service.bench.chemistry.reagents import STIRRABLE, Chloride, Span, molar_mass, portions, temperature_rise
from stripread.words import _

Metal = Literal["zinc", "iron"]
SYMBOLS: dict[Metal, str] = {"zinc": "Zn", "iron": "Fe"}
# Enthalpies of formation at 25 °C, kJ/mol. AgCl: CODATA key values, http://codata.info/resources/databases/key1.html ;
# the ions in water: zinc and chloride of the same table, iron(II) of the NBS tables, these three from memory.
FORMED_KJ_MOL = {"AgCl": -127.01, "Cl-": -167.08, "zinc": -153.39, "iron": -89.1}
MOLAR_L = 24.47  # litres of gas a mol at 25 °C and 1 atm: R T / p, 8.3145 * 298.15 / 101.325
STRENGTH = 1.0  # mol/L of acid in the liquid at the start, some 4 to 5 % by mass; common practice, no source
LEFT_OVER = 0.2  # mol/L of acid that stays at the end, so that no metal salt falls; common practice, no source
AIR_L = 25.0  # litres of air for a litre of hydrogen: below 4 % by volume it does not burn; from memory


@dataclass(frozen=True)
class MetalDose:
    """What to weigh out. Spans are (low, value, high) from the chloride's own range; g, mol, L, kelvin.

    ``need_g`` is pure metal for the silver alone, ``metal_g`` what is weighed out; ``acid_mol`` of H+. The low end of
    ``hydrogen_l`` is what the excess alone gives, the high end what all the metal gives if the acid is faster.
    """

    need_g: Span
    metal_g: Span
    water_l: Span
    acid_mol: Span
    hydrogen_l: Span
    rise_k: tuple[float, float]  # the reduction alone, and all the excess in acid too, if all went at once
    portions: int  # of the metal, so that none warms the vessel by more than 8 K
    air_l: float  # air that takes up the most hydrogen below the limit at which it burns


def metal_dose(stock: Chloride, metal: Metal, *, excess: float = 1.3, purity: float = 0.98) -> MetalDose:
    """Metal, acid and water for the whole amount.

    Parameters
    ----------
    excess
        Times the metal that the silver needs: acid eats some before the chloride gets it.
    purity
        Of the metal, a share by mass.

    Raises
    ------
    ValueError
        For an excess below 1 or a purity outside 0-1.
    """
    if excess < 1.0:
        raise ValueError(_("an excess below 1 is a shortage: it must be 1 or more"))
    if not 0.0 < purity <= 1.0:
        raise ValueError(_("the purity lies between 0 and 1"))
    mass = molar_mass(SYMBOLS[metal])
    need_mol = _times(stock.mol, 0.5)
    metal_mol = _times(need_mol, excess)
    left = _times(need_mol, excess - 1.0)
    water = _times(stock.dry_g, (1.0 / STIRRABLE - 1.0) / 1000.0)
    # The excess is dissolved by acid in the end; never less than a liquid of that strength.
    acid = tuple(max(STRENGTH * w, 2.0 * x + LEFT_OVER * w) for w, x in zip(water, left, strict=True))
    hydrogen = left[0] * MOLAR_L, left[1] * MOLAR_L, metal_mol[2] * MOLAR_L
    body = water[1] * 1000.0 + stock.dry_g[1] + metal_mol[1] * mass
    reduced = need_mol[1] * reduction_kj_mol(metal)
    gassed = left[1] * -FORMED_KJ_MOL[metal]
    rise = temperature_rise(reduced, body), temperature_rise(reduced + gassed, body)
    return MetalDose(
        need_g=_times(need_mol, mass),
        metal_g=_times(metal_mol, mass / purity),
        water_l=water,
        acid_mol=(acid[0], acid[1], acid[2]),
        hydrogen_l=hydrogen,
        rise_k=rise,
        portions=portions(rise[1]),
        air_l=hydrogen[2] * AIR_L,
    )


def reduction_kj_mol(metal: Metal) -> float:
    """Heat given off for each mol of metal that turns two of chloride to silver, kJ."""
    return 2.0 * FORMED_KJ_MOL["AgCl"] - FORMED_KJ_MOL[metal] - 2.0 * FORMED_KJ_MOL["Cl-"]


def _times(span: Span, factor: float) -> Span:
    return span[0] * factor, span[1] * factor, span[2] * factor
