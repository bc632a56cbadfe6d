"""What the rinse water may be, and the pH that each possibility gives at every amount of acid or lye left.

The forecast weighs these against each other: the water's alkalinity is seldom known exactly, and how much air the
sample met before the strip is never known. Each is a table pH(log10 residue), monotone, read by interpolation.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from service.bench.chemistry.water import Array, RinseWater, aired_water, liquid_ph, pure_water, tap_water

LOG_LOW, LOG_HIGH, LOG_STEP = -10.0, 1.0, 0.02  # log10 mol/L of acid or lye left


@dataclass(frozen=True)
class Hypothesis:
    """One water, one degree of contact with air, with its prior weight and its table (T,) of pH."""

    water: RinseWater
    exchange: float
    weight: float
    own_ph: float
    table: Array  # (T,) pH at log10 residue LOG_LOW + LOG_STEP * index

    def log_target(self, sign: int, tolerance: float, band: tuple[float, float]) -> float:
        """log10 residue at which the liquid first reads neutral: inside ``band``, or within ``tolerance`` of the water.

        Whichever comes first; water in air reads 5.6 and never enters the band, hard water enters it at once.
        """
        goal = min(band[0], self.own_ph - tolerance) if sign > 0 else max(band[1], self.own_ph + tolerance)
        along = self.table if sign > 0 else -self.table
        # pH falls (acid) or rises (lye) with the residue: the table is monotone, so search from its clean end.
        past = np.nonzero(along < (goal if sign > 0 else -goal))[0]
        return LOG_HIGH if past.size == 0 else LOG_LOW + LOG_STEP * float(past[0])


def look_up(tables: Array, row: npt.NDArray[np.intp], log_residue: Array) -> Array:
    """PH from ``tables`` (H, T), table ``row`` (C,) at log10 residue (C,); linear between points, flat beyond."""
    place = np.clip((log_residue - LOG_LOW) / LOG_STEP, 0.0, tables.shape[1] - 1.001)
    index = place.astype(np.intp)
    part = place - index
    at = row * tables.shape[1] + index
    flat = tables.ravel()
    return np.asarray(flat[at] * (1.0 - part) + flat[at + 1] * part)


@lru_cache(maxsize=256)
def _table(water: RinseWater, exchange: float, sign: int) -> Array:
    residue = 10.0 ** np.arange(LOG_LOW, LOG_HIGH + LOG_STEP / 2, LOG_STEP)
    # The first liquid's share only matters while the residue swamps the water: 1 mol/L is typical of the start.
    share = np.clip(residue, 0.0, 0.9)
    table = liquid_ph(sign * residue, share, water, exchange)
    table.setflags(write=False)
    return table


def _make(waters: list[tuple[RinseWater, float]], sign: int) -> tuple[Hypothesis, ...]:
    made = []
    for water, weight in waters:
        for exchange, part in ((0.0, 0.25), (0.3, 0.5), (1.0, 0.25)):  # a stir and a minute are between the extremes
            table = _table(water, exchange, sign)
            made.append(Hypothesis(water, exchange, weight * part, water.ph(exchange), table))
    return tuple(made)


@lru_cache(maxsize=64)
def hypotheses(water: RinseWater | None, sign: int, temp_c: float = 25.0) -> tuple[Hypothesis, ...]:
    """Possibilities for a named water (its alkalinity within some 15 %), or for an unknown one.

    Parameters
    ----------
    water
        The water the user named, or None: then anything from distilled to very hard.
    sign
        1 for acid residues, -1 for lye.
    """
    if water is None:
        soft = [(pure_water(temp_c), 0.15), (aired_water(temp_c), 0.25)]
        hard = [(tap_water(a, temp_c=temp_c), 0.1) for a in (0.3e-3, 0.8e-3, 1.5e-3, 2.5e-3, 4e-3, 6e-3)]
        return _make(soft + hard, sign)
    if water.alkalinity <= 1e-5:
        return _make([(pure_water(water.temp_c), 0.4), (aired_water(water.temp_c), 0.6)], sign)
    own = water.ph(0.0)
    near = [
        (tap_water(water.alkalinity * k, own, temp_c=water.temp_c), w)
        for k, w in ((0.85, 0.25), (1.0, 0.5), (1.15, 0.25))
    ]
    return _make(near, sign)
