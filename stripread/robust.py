"""Medians of small arrays without the general function's overhead, most of its time on a few hundred numbers."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

MAD_TO_SD = 1.4826  # of a normal distribution


def median(values: NDArray[Any]) -> float:
    """Median of all values, any shape; NaN if there is none or one of them is NaN."""
    flat = values.ravel()
    n = flat.size
    if n == 0:
        return float("nan")
    half = n // 2
    # Asking for the last place too brings a NaN, which sorts as the largest, to where it is seen.
    parts = np.partition(flat, (half - 1, half, n - 1) if n % 2 == 0 and n > 1 else (half, n - 1))
    if parts[-1] != parts[-1]:
        return float("nan")
    return float(parts[half]) if n % 2 else 0.5 * (float(parts[half - 1]) + float(parts[half]))


def medians(values: NDArray[Any], axis: int = 0) -> NDArray[Any]:
    """Medians along one axis of an array of any shape without NaN; the axis, which goes, must not be empty."""
    n = values.shape[axis]
    half = n // 2
    if n % 2:
        return np.asarray(np.take(np.partition(values, half, axis=axis), half, axis=axis))
    parts = np.partition(values, (half - 1, half), axis=axis)
    return np.asarray((np.take(parts, half - 1, axis=axis) + np.take(parts, half, axis=axis)) / 2)


def scatter(values: NDArray[Any]) -> float:
    """Standard deviation about the median by the median absolute deviation; any shape."""
    return MAD_TO_SD * median(np.abs(values - median(values)))
