"""Densities, g/cm³: of water by its temperature, of silver chloride, of what bars are made of."""

from __future__ import annotations

from stripread.words import _

# At 20 °C; handbook of chemistry and physics, from memory.
SILVER_CHLORIDE, SILVER = 5.56, 10.49
OTHER_METALS = {"copper": 8.96, "zinc": 7.14, "tin": 7.29, "iron": 7.87}
COLDEST, WARMEST = 0.0, 40.0  # °C between which the formula for water holds


def water_g_cm3(temp_c: float) -> float:
    """Density of air-free water at one atmosphere, g/cm³.

    M. Tanaka and others, Recommended table for the density of water, Metrologia 38 (2001) 301, formula 1; its constants
    from memory, checked in the tests against a handbook's table.

    Raises
    ------
    ValueError
        Below 0 or above 40 °C, where the formula does not hold.
    """
    if not COLDEST <= temp_c <= WARMEST:
        raise ValueError(_("weigh in water of 0 to 40 °C, not {temp:g}: let it cool", temp=temp_c))
    off = temp_c - 3.983035
    return 0.999974950 * (1.0 - off**2 * (temp_c + 301.797) / (522528.9 * (temp_c + 69.34881)))
