"""Which descriptions of precipitates a colour fits: words from books, read as wide regions of CIELAB.

The words are sourced, row by row, in ``precipitates.csv``; no measured colours of precipitates could be found, so
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

from stripread.tuned import tuned
from stripread.words import say

Array = NDArray[np.float64]

_TUNED = tuned("stripread.solid")
NEUTRAL_CHROMA = _TUNED.number("neutral_chroma")
NEAR = _TUNED.number("region_near")
LEAST_SD = _TUNED.number("colour_least_sd")


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
    text = (files("stripread.solid") / "precipitates.csv").read_text(encoding="utf-8")
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
    return tuple(dict.fromkeys(say(p.description) for p in precipitates() if _away(p, lab, sd) < NEAR**2))


def _away(solid: Precipitate, lab: Array, sd: Array) -> float:
    """Squared distance from the nearest colour of the region, in standard deviations.

    Nearest in lightness, chroma and hue in turn, which is near enough for regions read off words. A grey has no hue.
    """
    chroma, hue = float(np.hypot(lab[1], lab[2])), float(np.degrees(np.arctan2(lab[2], lab[1])))
    light = float(np.clip(lab[0], *solid.lightness))
    near = float(np.clip(chroma, *solid.chroma))
    low, high = solid.hue
    middle, half = (low + high) / 2.0, (high - low) / 2.0
    off = (hue - middle + 180.0) % 360.0 - 180.0
    turned = np.radians(middle + np.clip(off, -half, half))
    grey = chroma < NEUTRAL_CHROMA and solid.chroma[0] < NEUTRAL_CHROMA
    a, b = (lab[1], lab[2]) if grey else (near * np.cos(turned), near * np.sin(turned))
    away = (np.array([light, a, b]) - lab) / np.maximum(sd, LEAST_SD)
    return float(away @ away)
