"""Which descriptions of precipitates a colour fits: words from books, read as wide regions of CIELAB.

The words are sourced, row by row, in ``data/precipitates.csv``; no measured colours of precipitates could be found, so
the regions are our own wide reading of the words. A fit is a description, never an identification: many solids are
white.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

NEUTRAL_CHROMA = 6.0  # below it a hue means nothing


@dataclass(frozen=True)
class Precipitate:
    """A solid's words and its region: lightness, chroma and hue angle (degrees, low to high, may pass through 360)."""

    species: str
    description: str
    lightness: tuple[float, float]
    chroma: tuple[float, float]
    hue: tuple[float, float]


@cache
def precipitates() -> tuple[Precipitate, ...]:
    """The table."""
    text = (files("stripread") / "data" / "precipitates.csv").read_text(encoding="utf-8")
    return tuple(
        Precipitate(
            row["species"],
            row["description"],
            (float(row["L_low"]), float(row["L_high"])),
            (float(row["chroma_low"]), float(row["chroma_high"])),
            (float(row["hue_low"]), float(row["hue_high"])),
        )
        for row in csv.DictReader(text.splitlines())
    )


def fitting(lab: Array, sd: Array) -> tuple[str, ...]:
    """Descriptions that a colour fits within its doubt (one standard deviation of CIELAB, (3,) each)."""
    return tuple(dict.fromkeys(p.description for p in precipitates() if _fits(p, lab, sd)))


def _fits(solid: Precipitate, lab: Array, sd: Array) -> bool:
    lightness, slack = float(lab[0]), float(sd[0])
    chroma, hue = float(np.hypot(lab[1], lab[2])), float(np.degrees(np.arctan2(lab[2], lab[1])) % 360.0)
    wide = float(np.hypot(sd[1], sd[2]))
    if not solid.lightness[0] - slack <= lightness <= solid.lightness[1] + slack:
        return False
    if not solid.chroma[0] - wide <= chroma <= solid.chroma[1] + wide:
        return False
    if chroma < NEUTRAL_CHROMA:
        return solid.chroma[0] - wide <= NEUTRAL_CHROMA
    turn = np.degrees(np.arctan2(wide, chroma))
    low, high = solid.hue[0] - turn, solid.hue[1] + turn
    return bool((hue - low) % 360.0 <= high - low) or high - low >= 360.0
