"""How fine a bar is: as an assay declares, or by its density, weighed in air and hanging in water.

Archimedes, any textbook: density d = m_air (d_water - d_air) / (m_air - m_water) + d_air. The fineness of an alloy of
silver and one other metal whose volumes add is (1/d - 1/d_other) / (1/d_silver - 1/d_other). Silver and copper: 925
comes to 10.36 g/cm³. Pores make a bar lighter than its metal, so that density tells a fineness too low, never one too
high; gold or lead in it hides copper.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Literal

from service.bench.chemistry.density import OTHER_METALS, SILVER, water_g_cm3
from service.bench.chemistry.reagents import Span
from stripread.words import _, say

With = Literal["copper", "zinc", "tin", "iron"]
AIR = 0.0012  # g/cm³ of a room's air; handbook of chemistry and physics, from memory
# Share of a cast bar's volume that is pores or shrink holes: from memory. A hole seen is more.
PORES = (0.0, 0.01)
WATER_OFF_C = 1.0  # by which the water's temperature may be off
HANGING_G = 0.02  # of the thread and its wet skin, bubbles brushed off; common practice, no source
SPARE = 0.05  # g/cm³ over silver's own density from which it is called too heavy


@dataclass(frozen=True)
class Fineness:
    """Parts of one of silver (low, value, high), None where nothing tells it; density, g/cm³; in one sentence.

    ``by`` is "assay", "density" or "not said".
    """

    by: Literal["assay", "density", "not said"]
    share: Span | None
    sentence: str
    density: Span | None = None


def by_assay(assay: tuple[float, float]) -> Fineness:
    """As an assay declares it, parts of one (low, high)."""
    low, high = min(assay), max(assay)
    text = _("Fineness {low:.0f} to {high:.0f} ‰ as declared.", low=1000 * low, high=1000 * high)
    if low == high:
        text = _("Fineness {low:.0f} ‰ as declared.", low=1000 * low)
    return Fineness("assay", (low, 0.5 * (low + high), high), text)


def not_said() -> Fineness:
    """Of a bar of which nobody said anything."""
    return Fineness("not said", None, _("Its fineness is not known: all of it counts as silver."))


def by_density(
    air_g: float, water_g: float, *, temp_c: float = 20.0, scale_g: float = 0.01, other: With = "copper"
) -> Fineness:
    """By density.

    Parameters
    ----------
    air_g, water_g
        The bar's mass in air, and what the scale shows while it hangs in water, thread taken off, g.
    temp_c
        Of the water, 0 to 40 °C.
    scale_g
        Half the width of the scale's doubt, g.
    other
        The metal that the rest is taken for.

    Raises
    ------
    ValueError
        Where it weighs no less in water than in air, the scale is too coarse to tell, or a figure can't be.
    """
    if not 0.0 < water_g < air_g:
        raise ValueError(_("hanging in water a bar weighs less than in air, and more than nothing"))
    if air_g - water_g <= 2.0 * scale_g + HANGING_G:
        raise ValueError(_("the scale is too coarse to tell the density of so small a bar"))
    rest = OTHER_METALS[other]
    found = [
        _density(air_g + a * scale_g, water_g + w * (scale_g + HANGING_G), water_g_cm3(min(40.0, max(0.0, temp_c + t))))
        for a, w, t in itertools.product((-1, 1), (-1, 1), (-WATER_OFF_C, WATER_OFF_C))
    ]
    value = _density(air_g, water_g, water_g_cm3(temp_c))
    low, high = min(found), max(found)
    density = (low, value, high)
    told = _("{value:.2f} g/mL ({low:.2f} to {high:.2f})", value=value, low=low, high=high)
    if low > SILVER + SPARE:
        text = _(
            "Density {told}: heavier than silver is. Gold or lead may be in it, or one of the weights is wrong.",
            told=told,
        )
        return Fineness("density", None, text, density)
    least, most = _share(low, rest), _share(high / (1.0 - PORES[1]), rest)
    if most < 0.0:
        text = _("Density {told}: lighter than {metal}. Pores, a bubble, or no silver.", told=told, metal=say(other))
        return Fineness("density", None, text, density)
    share = (_within(least), _within(_share(value, rest)), _within(most))
    text = _(
        "Density {told}: {low:.0f} to {high:.0f} ‰ if the rest is {metal}; pores make it read low, gold or lead high.",
        told=told,
        low=1000 * share[0],
        high=1000 * share[2],
        metal=say(other),
    )
    return Fineness("density", share, text, density)


def _density(air_g: float, water_g: float, water: float) -> float:
    return air_g * (water - AIR) / (air_g - water_g) + AIR


def _share(density: float, rest: float) -> float:
    return (1.0 / density - 1.0 / rest) / (1.0 / SILVER - 1.0 / rest)


def _within(share: float) -> float:
    return min(1.0, max(0.0, share))
