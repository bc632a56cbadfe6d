"""A photograph by somebody else as the bench: the pictures that scikit-image ships with itself."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
import skimage.data
from numpy.typing import NDArray

from tests.scenes.layers import Array, Layer
from tests.scenes.spectra import WAVELENGTHS

LEVELS = 6  # a channel: 216 materials fit a layer's raster


@cache
def _codes(name: str) -> NDArray[np.uint8]:
    """One of scikit-image's pictures as 8-bit RGB, shape (H, W, 3)."""
    picture = np.asarray(getattr(skimage.data, name)())
    return np.asarray(picture if picture.ndim == 3 else cv2.merge([picture] * 3))


def _spectra() -> Array:
    """Smooth reflectances of all the colours that a raster can name, shape (216, 31)."""
    step = np.arange(LEVELS**3)
    rgb = np.stack([step // LEVELS**2, step // LEVELS % LEVELS, step % LEVELS], axis=1) / (LEVELS - 1)
    red = 1 / (1 + np.exp(-(WAVELENGTHS - 585) / 12))
    blue = 1 / (1 + np.exp((WAVELENGTHS - 490) / 12))
    return np.asarray(0.02 + 0.85 * rgb**2.2 @ np.stack([red, 1 - red - blue, blue]))


def pictured(name: str, low: Array, high: Array, seed: int) -> Layer:
    """A layer over the box from ``low`` to ``high`` (card mm), covered by a part of the picture, turned by chance."""
    rng = np.random.default_rng([seed, 14])
    codes = np.rot90(_codes(name), int(rng.integers(4)))
    extent = high - low
    shape = (max(int(extent[1]), 2), max(int(extent[0]), 2))
    scaled = cv2.resize(np.ascontiguousarray(codes), shape[::-1], interpolation=cv2.INTER_LINEAR)
    levels = np.round(scaled.astype(np.float32) / 255 * (LEVELS - 1)).astype(np.uint8)
    index = levels[..., 0] * LEVELS**2 + levels[..., 1] * LEVELS + levels[..., 2]
    return Layer(index, shape[0] / extent[1], (float(low[0]), float(low[1])), _spectra())
