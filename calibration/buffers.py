"""Standard buffers: their pH against temperature, from a published table (``data/buffers.csv``, source in each row)."""

from __future__ import annotations

import csv
from functools import cache
from importlib.resources import files

import numpy as np

TABLE_SD = 0.01  # the table's own uncertainty where it states none


@cache
def _table() -> dict[str, list[tuple[float, float, float]]]:
    """Buffer -> rows of temperature, pH, sd, by rising temperature."""
    rows: dict[str, list[tuple[float, float, float]]] = {}
    with files("calibration").joinpath("data/buffers.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            entry = (float(row["temp_c"]), float(row["ph"]), float(row["ph_sd"] or TABLE_SD))
            rows.setdefault(row["buffer"], []).append(entry)
    return {name: sorted(entries) for name, entries in rows.items()}


def buffer_names() -> tuple[str, ...]:
    """Names that ``buffer_ph`` knows."""
    return tuple(_table())


def buffer_ph(name: str, temp_c: float) -> tuple[float, float]:
    """The pH of a standard buffer at a temperature, and its standard deviation.

    Straight lines between the table's temperatures, which are 5 or 10 degrees apart: within 0.01 of the true curve.

    Raises
    ------
    ValueError
        If the buffer is unknown or the temperature lies outside its table.
    """
    key = name.strip().lower()
    if key not in _table():
        raise ValueError(f"no buffer '{name}' in the table (known: {', '.join(buffer_names())})")
    temp, ph, sd = np.array(_table()[key]).T
    if not temp[0] <= temp_c <= temp[-1]:
        raise ValueError(f"the table of {key} runs from {temp[0]:g} to {temp[-1]:g} degrees, not to {temp_c:g}")
    return float(np.interp(temp_c, temp, ph)), float(np.interp(temp_c, temp, sd))
