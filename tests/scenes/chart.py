"""The maker's chart lying on the card: printed swatches of a strip's colours, each a little off.

The swatches are process inks that match the strip's colour under D50 apart from their error; their spectra are the
printing press's, not the dyes', so that under other lights they part from the strip as real charts do.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from scipy.optimize import least_squares

from stripread.card.layout import LANE_MM
from tests.scenes.layers import Array, Layer, noise_field, placed
from tests.scenes.scene import Scene, random_scene
from tests.scenes.spectra import WAVELENGTHS, gaussian, true_lab
from tests.scenes.strips import RECIPES, StripState

POINTS = {
    "four": tuple(range(15)),
    "universal": tuple(range(15)),
    "bromothymol": (6.0, 6.4, 6.8, 7.2, 7.6),
    "three": (4, 5, 6, 7, 8, 9, 10),
    "roll": (3, 4, 5, 6, 7, 8, 9, 10, 11),
}
PITCH_MM, SWATCH_MM = (6.4, 5.4), (5.6, 4.6)
_PAPER = 0.86 * (1 - 0.04 * np.exp(-(WAVELENGTHS - 400) / 60))
_INKS = 2.2 * np.stack(
    [gaussian(640, 62) + 0.04, gaussian(545, 38) + 0.2 * gaussian(430, 40) + 0.02, gaussian(430, 42) + 0.03]
)


@dataclass(frozen=True)
class Swatch:
    """One printed colour of the chart: the pH and pad it stands for, its middle on the card, its true colour."""

    ph: float
    pad: int
    x_mm: float
    y_mm: float
    lab: tuple[float, float, float]


def in_print(lab: Array) -> Array:
    """Reflectance of process inks that comes nearest to a colour, shape (31,)."""

    def off(inks: Array) -> Array:
        return np.asarray(true_lab(_PAPER * 10 ** -(inks @ _INKS)) - lab)

    best = least_squares(off, np.full(3, 0.3), bounds=(0.0, 2.0), xtol=1e-6, ftol=1e-6).x
    return np.asarray(_PAPER * 10 ** -(best @ _INKS))


@lru_cache(maxsize=32)
def chart_spectra(kind: str, press_seed: int) -> Array:
    """Swatches of a chart, shape (points, pads, 31): the maker's colours, off by about 3 in dE."""
    rng = np.random.default_rng([press_seed, 14])
    common = rng.normal(0, 1.0, 3)
    rows = []
    for ph in POINTS[kind]:
        nominal = true_lab(StripState(kind, float(ph), lot_seed=0).pad_spectra())
        rows.append([in_print(lab + common + rng.normal(0, 1.5, 3)) for lab in nominal])
    return np.array(rows)


def swatch_boxes(kind: str) -> Array:
    """Middles of the swatches in the chart's own frame (origin in its middle), shape (points, pads, 2)."""
    points, pads = len(POINTS[kind]), len(RECIPES[kind].pads)
    x = (np.arange(points) - (points - 1) / 2) * PITCH_MM[0]
    y = (np.arange(pads) - (pads - 1) / 2) * PITCH_MM[1]
    return np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1)


def chart_layer(kind: str, press_seed: int, to_card: Array, ppm: float) -> Layer:
    """The chart as a slip of coated paper."""
    middles, spectra = swatch_boxes(kind), chart_spectra(kind, press_seed)
    size = middles.max(axis=(0, 1)) * 2 + np.array(PITCH_MM) + 1.0
    index = np.zeros((round(size[1] * ppm), round(size[0] * ppm)), dtype=np.uint8)
    half = np.array(SWATCH_MM) / 2
    for n, middle in enumerate(middles.reshape(-1, 2)):
        (left, top), (right, bottom) = (np.round((middle + s * half + size / 2) * ppm).astype(int) for s in (-1.0, 1.0))
        index[top:bottom, left:right] = n + 1
    materials = np.vstack([_PAPER[None], spectra.reshape(-1, len(WAVELENGTHS))])
    grain = noise_field(index.shape, max(1.0, 0.15 * ppm), np.random.default_rng([press_seed, 15])) * np.float32(0.01)
    origin = (float(-size[0] / 2), float(-size[1] / 2))
    return Layer(index, ppm, origin, materials, materials, grain, to_card=to_card)


def chart_scene(rng: np.random.Generator, kind: str = "four", **fixed: Any) -> tuple[Scene, tuple[Swatch, ...]]:
    """A photo of the chart on the card's lane, and where its swatches lie."""
    press_seed = int(fixed.pop("press_seed", rng.integers(1 << 30)))
    scene = random_scene(rng, kind, **fixed)
    x = LANE_MM[0] + LANE_MM[2] / 2 + float(rng.normal(0, 0.5))
    y = LANE_MM[1] + LANE_MM[3] / 2 + float(rng.normal(0, 0.3))
    angle = float(rng.normal(0, 0.7))

    turn = placed(x, y, angle)

    def build(ppm: float, seed: int) -> list[Layer]:
        return [chart_layer(kind, press_seed, turn, ppm)]

    middles = swatch_boxes(kind) @ turn[:, :2].T + turn[:, 2]
    labs = true_lab(chart_spectra(kind, press_seed))
    swatches = tuple(
        Swatch(float(ph), pad, float(middles[n, pad, 0]), float(middles[n, pad, 1]), tuple(map(float, labs[n, pad])))
        for n, ph in enumerate(POINTS[kind])
        for pad in range(len(RECIPES[kind].pads))
    )
    return replace(scene, strips=(), extras=(build,)), swatches
