"""A surface to be photographed: flat areas of named materials on a millimetre raster.

The spectral work is done once a material and light, never a pixel. Everything on the bench is a stack of such layers,
lowest first; somebody who wants a new thing on the card (a vial, a heap) builds a layer and hands it to the scene.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Points = NDArray[np.float64]


@dataclass(frozen=True)
class Layer:
    """One surface on its own raster.

    Attributes
    ----------
    index : (H, W) uint8, which material a raster cell is.
    ppm : raster cells a millimetre.
    origin_mm : the raster's top left corner in the layer's own frame.
    spectra : (M, 31) reflectance of each material.
    change : (M, 31) change of reflectance for one unit of ``mix`` (mottle, grain, ink drift), or None.
    mix : (H, W) float32, or None.
    glow : (M, 31) brightener's glow under daylight, or None.
    alpha : (H, W) float32 coverage in 0 to 1, or None where the raster is all covered.
    to_card : (2, 3) affine map, layer mm to card mm.
    gloss : (M,) mirror reflectance of each material, or None for matt.
    shade : (H, W) float32 multiplied on the light (a rim's shadow), or None.
    """

    index: NDArray[np.uint8]
    ppm: float
    origin_mm: tuple[float, float]
    spectra: Array
    change: Array | None = None
    mix: NDArray[np.float32] | None = None
    glow: Array | None = None
    alpha: NDArray[np.float32] | None = None
    to_card: Array = field(default_factory=lambda: np.eye(2, 3))
    gloss: Array | None = None
    shade: NDArray[np.float32] | None = None

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of the raster."""
        return self.index.shape[1] / self.ppm, self.index.shape[0] / self.ppm

    def outline(self) -> Points:
        """The raster's corners in the layer's own frame, shape (4, 2)."""
        (x, y), (w, h) = self.origin_mm, self.size_mm
        return np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]])

    def on_card(self, points_mm: Points) -> Points:
        """Layer mm to card mm."""
        return points_mm @ self.to_card[:, :2].T + self.to_card[:, 2]


Builder = Callable[[float, int], list[Layer]]  # (raster cells a mm, seed) -> layers on top of the card


def placed(x: float, y: float, angle_deg: float) -> Array:
    """Affine map that turns a layer about its own origin and puts that origin at (x, y) on the card."""
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    return np.array([[c, -s, x], [s, c, y]])


def noise_field(shape: tuple[int, int], cells: float, rng: np.random.Generator) -> NDArray[np.float32]:
    """Smooth random field of unit standard deviation, with about ``cells`` raster cells from bump to bump."""
    import cv2

    rows, cols = max(int(shape[0] / cells) + 3, 4), max(int(shape[1] / cells) + 3, 4)
    coarse = rng.standard_normal((rows, cols)).astype(np.float32)
    # bicubic upsampling of white noise loses about a third of its spread
    return np.asarray(cv2.resize(coarse, shape[::-1], interpolation=cv2.INTER_CUBIC) * np.float32(1.35))
