"""Silver chloride by volume: a vessel weighed full of water to a mark, and again with the sludge to the same mark.

It weighs more by the chloride's mass times (1 - density of the liquid / density of the chloride): a pycnometer's
arithmetic, any textbook. The rest is doubt, and each part of it is counted: the scale, how well the mark is met twice,
the liquid between the grains, dirt that is not chloride, and air that clings to the grains.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

from service.bench.chemistry.density import SILVER_CHLORIDE, water_g_cm3
from service.bench.chemistry.reagents import Span
from stripread.words import _

MARK_ML = 1.0  # by which a mark is met, either time; common practice, no source
# What is not chloride in washed sludge, share of its volume, and its density, g/cm³ (paper pulp 1.5, sand 2.65): from
# memory.
DIRT, DIRT_DENSITY = (0.0, 0.02), (1.5, 2.7)
DILUTE = 0.004  # g/cm³ over water: a rinse of up to 0.2 mol/L hydrochloric acid (1 mol/L: 0.017), from memory
AIR_ML = (0.0, 0.5)  # that clings to stirred and settled grains; common practice, no source


@dataclass(frozen=True)
class ByVolume:
    """Dry silver chloride, g, (low, value, high); the volume of its solid, cm³; what a mL of air hides, g."""

    dry_g: Span
    solid_ml: float
    air_hides_g: float


def by_volume(
    water_g: float,
    sludge_g: float,
    *,
    empty_g: float | None = None,
    temp_c: float = 20.0,
    liquid: tuple[float, float] | None = None,
    dirt: tuple[float, float] = DIRT,
    scale_g: float = 0.1,
    mark_ml: float = MARK_ML,
) -> ByVolume:
    """Dry silver chloride in the vessel.

    Parameters
    ----------
    water_g, sludge_g
        The vessel filled to the mark with clean water, and with the sludge and its liquid to the same mark, g, both at
        ``temp_c``.
    empty_g
        The vessel empty and dry, g: it tells the volume, which counts only where the liquid is no water.
    liquid
        Density of the liquid over the sludge, g/cm³, (low, high); None for rinse water, plain or a little acid.
    dirt
        Share of the solid's volume that is no silver chloride, (low, high).
    scale_g, mark_ml
        Half the width of the scale's doubt, g, and of how well the mark is met, mL.

    Raises
    ------
    ValueError
        Where the sludge weighs no more than the water, or a figure can't be.
    """
    water = water_g_cm3(temp_c)
    if not sludge_g > water_g:
        raise ValueError(_("with the sludge it must weigh more than with water alone: was it filled to the same mark?"))
    if empty_g is not None and not 0.0 <= empty_g < water_g:
        raise ValueError(_("empty the vessel must weigh less than filled with water"))
    if not 0.0 <= dirt[0] <= dirt[1] < 1.0:
        raise ValueError(_("the share of dirt lies between 0 and 1"))
    thin, thick = liquid if liquid is not None else (water, water + DILUTE)
    if not 0.9 <= thin <= thick <= 2.0:
        raise ValueError(_("the liquid's density lies between 0.9 and 2 g/mL"))
    if empty_g is None and max(thick - water, water - thin) > DILUTE + 1e-9:
        raise ValueError(_("for another liquid than water the vessel's volume is wanted: weigh it empty and dry, too"))
    most_ml = (water_g - (empty_g or 0.0)) / water
    more = sludge_g - water_g
    # Two weighings and two fillings, each within its bounds: independent, so their squares add up.
    doubt = math.sqrt(2.0) * math.hypot(scale_g, mark_ml * water)
    found = [
        _chloride(more + off, (rho, water), most_ml, share, of_dirt, air)
        for off, rho, share, of_dirt, air in itertools.product(
            (-doubt, doubt), (thin, thick), dirt, DIRT_DENSITY, AIR_ML
        )
    ]
    middle = 0.5 * (dirt[0] + dirt[1])
    # Plain water is likelier than any other liquid, no air than any.
    likely = thin if liquid is None else 0.5 * (thin + thick)
    value = _chloride(more, (likely, water), most_ml, middle, 0.5 * sum(DIRT_DENSITY), 0.0)
    low, high = max(0.0, min(found)), max(found)
    value = min(max(value, low), high)
    return ByVolume((low, value, high), value / SILVER_CHLORIDE, water * SILVER_CHLORIDE / (SILVER_CHLORIDE - water))


def _chloride(  # noqa: PLR0917
    more: float, rho: tuple[float, float], vessel_ml: float, dirt: float, dirt_density: float, air_ml: float
) -> float:
    """Chloride, g: ``more`` than water to the mark, in a liquid ``rho[0]`` instead of water ``rho[1]``."""
    liquid, water = rho
    solid = (1.0 - dirt) * SILVER_CHLORIDE + dirt * dirt_density
    volume = (more - vessel_ml * (liquid - water) + air_ml * liquid) / (solid - liquid)
    return max(0.0, volume) * (1.0 - dirt) * SILVER_CHLORIDE
