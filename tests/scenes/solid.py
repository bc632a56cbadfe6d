"""A heap or a slurry in the sample window: dark oxide, grey silver powder, and pale grains of chloride left in them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from stripread.card.layout import layout
from tests.scenes.layers import Array, Builder, Layer, noise_field
from tests.scenes.scene import Scene
from tests.scenes.spectra import WAVELENGTHS

METAL, MIRROR, GLASS = 2, 3, 4  # materials after oxide (0) and chloride (1)


@dataclass(frozen=True)
class Solid:
    """pale : share of the batch that is pale (the expected share of the area). grain_mm : median radius of the grains.

    dark, bright : reflectance of oxide and chloride; brown : how much redder than black; rough : texture of the dark.
    clumps : ragged clumps of many sizes in place of discs; uneven : spread of the grains' brightness; shade : how much
    lighter one side of the heap is; dish_mm : inner radius of a dish of glass that it fills, 0 for a heap on paper;
    wet : share of light mirrored by a film of water, from all round.

    silver : share of what is not pale that the sugar has made silver powder. silver_mm : size of its patches among the
    oxide, 0 where both are one even powder. metal : silver's reflectance, 0.2 to 0.45 (from memory: grey, neutral).
    sparkle : share of its cells where a facet mirrors the lamp (from memory). violet : share of its light that chloride
    lost to daylight, most in the green (from memory: chloride turns violet-grey).
    """

    pale: float = 0.0
    grain_mm: float = 0.3
    dark: float = 0.05
    bright: float = 0.75
    brown: float = 0.3
    rough: float = 0.15
    radius_mm: float = 10.0
    glints: int = 0
    clumps: bool = False
    uneven: float = 0.0
    shade: float = 0.0
    dish_mm: float = 0.0
    wet: float = 0.0
    silver: float = 0.0
    silver_mm: float = 0.0
    metal: float = 0.32
    sparkle: float = 0.01
    violet: float = 0.0
    seed: int = 0


def spectra(solid: Solid) -> Array:
    """Reflectance of oxide (with silver in it where both are one powder), chloride and silver, shape (3, 31)."""
    dark = np.clip(solid.dark * (1 + solid.brown * (WAVELENGTHS - 550) / 150), 0.005, 1)
    bright = solid.bright * (1 - 0.05 * np.exp(-(WAVELENGTHS - 400) / 40))
    bright = bright * (1 - solid.violet * (1 + 0.2 * np.cos((WAVELENGTHS - 550) / 150 * np.pi)) / 1.2)
    metal = np.full(len(WAVELENGTHS), solid.metal)
    if solid.silver > 0 and solid.silver_mm == 0:
        dark = dark + solid.silver * (metal - dark)
    return np.stack([dark, bright, metal])


def grains(solid: Solid, shape: tuple[int, int], ppm: float) -> NDArray[np.bool_]:
    """Where a grain lies on top: discs at random places whose union covers ``pale`` on average (a Boolean model)."""
    rng = np.random.default_rng([solid.seed, 41])
    out = np.zeros(shape, np.uint8)
    if solid.pale <= 0 or solid.pale >= 1:
        return np.full(shape, solid.pale >= 1)
    if solid.clumps:
        return _clumps(solid, shape, ppm, rng)
    sigma = 0.35
    area = np.pi * solid.grain_mm**2 * np.exp(2 * sigma**2)
    margin = 4 * solid.grain_mm
    extent = (shape[0] / ppm + 2 * margin) * (shape[1] / ppm + 2 * margin)
    count = rng.poisson(-np.log(1 - solid.pale) / area * extent)
    radii = solid.grain_mm * np.exp(rng.normal(0, sigma, count))
    xs = (rng.uniform(-margin, shape[1] / ppm + margin, count) * ppm - 0.5) * 16
    ys = (rng.uniform(-margin, shape[0] / ppm + margin, count) * ppm - 0.5) * 16
    for x, y, r in zip(xs, ys, radii, strict=True):
        cv2.circle(out, (round(x), round(y)), round(r * ppm * 16), 1, cv2.FILLED, cv2.LINE_8, 4)
    return out > 0


def _clumps(solid: Solid, shape: tuple[int, int], ppm: float, rng: np.random.Generator) -> NDArray[np.bool_]:
    """The highest part of a rough random surface, ``pale`` of its area on average: ragged, and of many sizes."""
    own = raster_ppm(solid)  # the same clumps at whatever scale they are asked for
    cells = (round(shape[0] / ppm * own), round(shape[1] / ppm * own))
    rough = sum(noise_field(cells, max(2.5 * solid.grain_mm * own * size, 1.0), rng) * size for size in (0.5, 1, 2))
    rough = cv2.resize(np.asarray(rough, np.float32), shape[::-1], interpolation=cv2.INTER_LINEAR)
    return np.asarray(rough > np.quantile(rough, 1 - solid.pale))


def _silver(solid: Solid, index: NDArray[np.uint8], fine: float, rng: np.random.Generator) -> NDArray[np.bool_]:
    """Where silver's patches lie between the grains (index 0); none where it is even powder with the oxide."""
    if solid.silver <= 0 or solid.silver_mm <= 0:
        return np.zeros(index.shape, bool)
    rough = noise_field(index.shape, max(2.5 * solid.silver_mm * fine, 1.0), rng)
    return np.asarray((index == 0) & (rough > np.quantile(rough, 1 - solid.silver)))


def _outline(solid: Solid, rng: np.random.Generator, turn: Array) -> Array:
    wobble = sum(rng.normal(0, 0.06 / k) * np.cos(k * turn + rng.uniform(0, 6.3)) for k in range(2, 6))
    return np.asarray(solid.radius_mm * (1 + wobble))


def solid_layers(solid: Solid) -> Builder:
    """The heap in the sample window."""
    centre = np.array(layout().windows["sample"].centre_mm)

    def build(ppm: float, seed: int) -> list[Layer]:
        rng = np.random.default_rng([solid.seed, seed, 42])
        fine = max(ppm, raster_ppm(solid))
        cells = round(2.6 * solid.radius_mm * fine)
        axis = (np.arange(cells) + 0.5) / fine - cells / fine / 2
        xs, ys = np.meshgrid(axis, axis)
        round_edge = solid.dish_mm > 0
        outline = solid.dish_mm if round_edge else _outline(solid, rng, np.arctan2(ys, xs))
        edge = outline - np.hypot(xs, ys)
        index = grains(solid, (cells, cells), fine).astype(np.uint8)
        mix = noise_field(index.shape, 0.25 * fine, rng) * 0.7 + noise_field(index.shape, 1.5 * fine, rng) * 0.5
        mix = np.where(index == 0, np.exp(np.clip(mix * solid.rough, -1, 1)) - 1, 0.3 * solid.rough * mix).astype(
            np.float32
        )
        if solid.uneven:  # from grain to grain
            patchy = noise_field(index.shape, 2.0 * solid.grain_mm * fine, rng) * solid.uneven
            mix = np.where(index == 1, mix - np.abs(patchy), mix).astype(np.float32)
        if solid.shade:
            turn = rng.uniform(0, 2 * np.pi)
            slope = (xs * np.cos(turn) + ys * np.sin(turn)) * solid.shade / solid.radius_mm
            mix = (mix + (1 + mix) * slope).astype(np.float32)
        if solid.silver:
            own = np.random.default_rng([solid.seed, seed, 43])
            index[_silver(solid, index, fine, own)] = METAL
            facets = (index == (METAL if solid.silver_mm > 0 else 0)) & (own.random(index.shape) < solid.sparkle)
            mix = np.where(facets, mix + own.uniform(0.5, 2.0, index.shape), mix).astype(np.float32)
        plain = spectra(solid) + solid.wet
        for _ in range(solid.glints):
            at = rng.uniform(0.2, 0.8, 2) * cells
            cv2.circle(index, (int(at[0]), int(at[1])), max(1, round(rng.uniform(0.1, 0.3) * fine)), MIRROR, -1)
        glass = np.full((1, plain.shape[1]), 0.55)
        materials = np.vstack([plain, np.full((1, plain.shape[1]), 3.0), glass])
        change = np.vstack([plain, np.zeros((2, plain.shape[1]))])
        if round_edge:
            index[edge < 0] = GLASS
            edge = edge + 1.2  # the wall
        alpha = np.clip(edge * fine, 0, 1).astype(np.float32)
        origin = (float(centre[0] - cells / fine / 2), float(centre[1] - cells / fine / 2))
        return [Layer(index, fine, origin, materials, change, mix, alpha=alpha)]

    return build


def with_solid(scene: Scene, solid: Solid) -> Scene:
    """The same photo with a heap in the sample window."""
    return replace(scene, extras=(*scene.extras, solid_layers(solid)))


def raster_ppm(solid: Solid) -> float:
    """Cells a millimetre that draw the grains to a few percent of their area."""
    return float(np.clip(2.5 / solid.grain_mm, 16.0, 32.0))


def true_share(solid: Solid) -> float:
    """The share really on top in the heap, near enough (a disc of its radius)."""
    ppm = raster_ppm(solid)
    cells = round(2.6 * solid.radius_mm * ppm)
    axis = (np.arange(cells) + 0.5) / ppm - cells / ppm / 2
    xs, ys = np.meshgrid(axis, axis)
    return float(grains(solid, (cells, cells), ppm)[np.hypot(xs, ys) < solid.radius_mm].mean())
