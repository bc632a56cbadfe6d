"""Measured print conditions: the colour that so much cyan, magenta, yellow and black came out as, in two halves.

Only colours were measured, not spectra: a made-up print's spectrum is bent, smoothly, until it has the measured colour.
"""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RBFInterpolator

from tests.scenes.measured import World, half
from tests.scenes.spectra import gaussian, true_xyz

Array = NDArray[np.float64]
PRINTS = Path(__file__).parents[1] / "data" / "measured" / "prints.csv"
_BENDS = np.stack([gaussian(455.0, 40.0), gaussian(545.0, 40.0), gaussian(610.0, 40.0)])


@cache
def _table() -> dict[str, Array]:
    """Rows of each condition: dots of C, M, Y, K (0 to 1), XYZ under D50 (white 0.9642, 1, 0.8252), shape (N, 7)."""
    rows: dict[str, list[list[float]]] = {}
    with PRINTS.open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            values = [float(row[name]) / 100 for name in ("cyan", "magenta", "yellow", "black", "X", "Y", "Z")]
            rows.setdefault(row["condition"], []).append(values)
    return {name: np.array(values) for name, values in rows.items()}


def conditions(world: World) -> tuple[str, ...]:
    """Names of a half's print conditions."""
    return half(tuple(_table()), world)


@cache
def _between(condition: str) -> RBFInterpolator:
    """Cube roots of XYZ at any dots: even steps there are even to the eye. A field printed twice is averaged."""
    rows = _table()[condition]
    dots, where, count = np.unique(rows[:, :4], axis=0, return_inverse=True, return_counts=True)
    roots = np.zeros((len(dots), 3))
    np.add.at(roots, where.ravel(), np.cbrt(rows[:, 4:]))
    return RBFInterpolator(dots, roots / count[:, None], neighbors=40, kernel="linear")


def printed_xyz(condition: str, dots: Array) -> Array:
    """XYZ under D50 of dots of C, M, Y, K in 0 to 1 as sent to the press, shape (N, 4) -> (N, 3)."""
    return np.asarray(np.maximum(_between(condition)(np.clip(dots, 0, 1)), 0.05) ** 3)


def bent(spectra: Array, wanted: Array) -> Array:
    """Factors (N, 31) that give reflectances (N, 31) the wanted XYZ (N, 3), smooth over the wavelengths.

    Newton's method on the logarithms of three broad bands; what it can't reach stays as near as it got.
    """
    amounts = np.zeros((len(spectra), 3))
    for _ in range(25):
        seen = spectra * np.exp(amounts @ _BENDS)
        error = wanted - true_xyz(seen)
        slope = np.stack([true_xyz(seen * band) for band in _BENDS], axis=2)
        amounts += np.clip(np.linalg.solve(slope, error[..., None])[..., 0], -0.5, 0.5)
        amounts = np.clip(amounts, -3, 3)
    return np.asarray(np.exp(amounts @ _BENDS))
