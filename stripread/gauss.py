"""The Gaussian, one at its middle: the squared-exponential kernel of a covariance, and the shape of a spectral band."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def gaussian(distance: Array | float, width: Array | float) -> Array:
    """exp(-d² / 2w²) of any shape: 1 at distance 0, 0.61 at one width. Of distances it is a covariance (the
    squared-exponential kernel: Rasmussen and Williams, Gaussian Processes for Machine Learning, 2006, eq. 4.9).
    """
    return np.asarray(np.exp(-0.5 * (np.asarray(distance) / width) ** 2))


def gaussian_between(one: Array, other: Array, width: float) -> Array:
    """The Gaussian of the distances between points (N, D) and (M, D), or places on a line (N,) and (M,): (N, M)."""
    if one.ndim == 1:
        return gaussian(one[:, None] - other, width)
    square = (one**2).sum(axis=1)[:, None] + (other**2).sum(axis=1)[None, :] - 2.0 * one @ other.T
    return np.asarray(np.exp(-0.5 * np.maximum(square, 0.0) / width**2))
