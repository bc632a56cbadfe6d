"""Other vessels in the windows: wells of a white spot plate, and vessels drawn flat, without the optics of ``vial``.

A well's liquid lies over glazed porcelain, not over the card's paper, and its depth falls from the middle to the edge.
The flat ones are what a vessel looks like of which nothing is known but a rim and a coloured disc: rims dark, bright,
double or hardly there, lamps mirrored as arcs and spots, bubbles, the printed ring seen or not.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from stripread.card.layout import RING_RADIUS_MM, RING_WIDTH_MM, layout
from tests.scenes.ageing import sheet_of
from tests.scenes.layers import Array, Builder, Layer, noise_field
from tests.scenes.scene import Scene
from tests.scenes.spectra import WAVELENGTHS
from tests.scenes.surfaces import RING_SRGB
from tests.scenes.vial import WATER, Dye, Grid, Vial, eye_over, lifted, shadow_layer, vial_layers

Rim = Literal["dark", "bright", "double", "faint"]


@dataclass(frozen=True)
class Well:
    """A well in a block of white porcelain. depth_mm: of the liquid in the middle; bowl: 0 a flat floor, 1 a cap of a
    sphere. glaze: reflectance; warm: how much yellower than grey; block_mm: half side (square) or radius of the block.
    plate: the block reaches over both windows as one.
    """

    radius_mm: float = 9.0
    depth_mm: float = 6.0
    bowl: float = 1.0
    dyes: tuple[Dye, ...] = ()
    haze: float = 0.0
    glaze: float = 0.8
    warm: float = 0.02
    block_mm: float = 13.0
    round_block: bool = False
    base_mm: float = 3.0
    glints: int = 1
    light: float = 1.0
    off_mm: tuple[float, float] = (0.0, 0.0)
    seed: int = 0


@dataclass(frozen=True)
class Flat:
    """A vessel drawn flat: outer radius, rim, and a disc of liquid over paper."""

    radius_mm: float = 9.0
    rim_mm: float = 0.8
    rim: Rim = "dark"
    depth_mm: float = 20.0
    dyes: tuple[Dye, ...] = ()
    haze: float = 0.0
    ring: bool = True  # the card's printed ring shows
    arcs: int = 1
    spots: int = 0
    bubbles: int = 0
    opening_mm: tuple[float, float] = (0.0, 0.0)  # where a second, upper rim is drawn against the lower one
    light: float = 1.0
    off_mm: tuple[float, float] = (0.0, 0.0)
    seed: int = 0


Vessel = Vial | Well | Flat


def _raster(centre: Array, reach: float, ppm: float) -> tuple[Grid, Grid, tuple[float, float]]:
    """Card places of a square raster's cells, and its origin."""
    cells = round(2 * reach * ppm)
    axis = (np.arange(cells) + 0.5) / ppm - reach
    xs, ys = np.meshgrid(axis + centre[0], axis + centre[1])
    return xs, ys, (float(centre[0] - reach), float(centre[1] - reach))


def _density(dyes: tuple[Dye, ...]) -> Array:
    return sum((dye.spectrum() for dye in dyes), np.zeros_like(WAVELENGTHS))


STEPS = 24  # depths of a bowl that are told apart


def well_layers(well: Well, window: str, scene: Scene) -> Builder:
    """The builder of one well, its middle over a window's."""
    eye = eye_over(scene)
    centre = np.array(layout().windows[window].centre_mm) + np.array(well.off_mm)

    def build(ppm: float, seed: int) -> list[Layer]:
        rng = np.random.default_rng([well.seed, seed, 22])
        surface_z = well.base_mm + well.depth_mm
        top, half = lifted(centre, well.block_mm, surface_z + 0.5, eye)
        reach = float(np.abs(top - centre).max() + half + 2)
        xs, ys, origin = _raster(centre, reach, ppm)

        def away(place: Array) -> Grid:
            return np.asarray(np.hypot(xs - place[0], ys - place[1]))

        def square(place: Array) -> Grid:
            return np.asarray(np.maximum(np.abs(xs - place[0]), np.abs(ys - place[1])))

        body = away if well.round_block else square
        foot = well.block_mm - body(centre)
        roof = half - body(top)
        surface, r_surface = lifted(centre, well.radius_mm, surface_z, eye)
        edge = r_surface - away(surface)
        inside = edge > 0
        # The floor is seen lifted by refraction; at a bowl's edge it meets the surface.
        floor_z = well.base_mm + well.depth_mm * (1 - 1 / WATER)
        floor, r_floor = lifted(centre, well.radius_mm, floor_z, eye)
        place = floor + (surface - floor) * 0.5 if well.bowl > 0.5 else floor
        share = np.clip(away(place) / (0.5 * (r_floor + r_surface)), 0, 1)
        depth = 1.0 - well.bowl * share**2 - (1 - well.bowl) * np.clip((share - 0.85) / 0.15, 0, 1) ** 2
        glaze = well.glaze * (1 + well.warm * (WAVELENGTHS - 550) / 150)
        density = _density(well.dyes)
        depths = np.linspace(0, 1, STEPS)
        passages = 2.04
        milk = np.full_like(WAVELENGTHS, 0.8)
        seen = [
            ((1 - well.haze) ** 2 * glaze * 10 ** (-density * d * passages) + well.haze * milk * 10 ** (-density * d))
            * 0.96
            * well.light
            for d in depths
        ]
        plain, side, shine = len(depths), len(depths) + 1, len(depths) + 2
        spectra = np.vstack([seen, glaze, 0.8 * glaze, np.full_like(glaze, 2.0)])
        index = np.full(xs.shape, plain, np.uint8)
        index[roof <= 0] = side  # the block's flank
        index[inside] = np.rint(depth[inside] * (STEPS - 1)).astype(np.uint8)
        mix = np.zeros(xs.shape, np.float32)
        # A hollow's wall is tilted against the light, and light comes back from the other side.
        turn = rng.uniform(0, 2 * np.pi)
        tilt = ((xs - place[0]) * np.cos(turn) + (ys - place[1]) * np.sin(turn)) / well.radius_mm
        mix += np.where(inside, tilt * rng.uniform(0.01, 0.05) - 0.06 * share**4, 0).astype(np.float32)
        mix += np.where(inside, np.exp(-np.clip(edge, 0, None) / 0.5) * rng.uniform(-0.25, 0.15), 0).astype(np.float32)
        mix += (noise_field(xs.shape, 5 * ppm, rng) * 0.004).astype(np.float32)
        lip = np.exp(-((edge / 0.5) ** 2)) * rng.uniform(0.06, 0.2) * np.sign(rng.normal())
        mix += np.where(inside, 0, lip).astype(np.float32)
        for _ in range(well.glints):
            at, size = surface + rng.uniform(-0.6, 0.6, 2) * well.radius_mm, rng.uniform(0.3, 1.2)
            index[away(at) < size] = shine
        change = np.where((np.arange(len(spectra)) == shine)[:, None], 0, spectra)
        alpha = np.clip((np.maximum(foot, roof) + 0.05) * ppm, 0, 1).astype(np.float32)
        gloss = np.full(len(spectra), 1.0)
        return [
            shadow_layer(centre, well.block_mm, np.zeros_like(density), rng),
            Layer(index, ppm, origin, spectra, change, mix, alpha=alpha, gloss=gloss),
        ]

    return build


RIMS: dict[Rim, tuple[float, float]] = {  # reflectance against paper: outer and inner half of the rim
    "dark": (0.45, 0.55),
    "bright": (1.12, 1.05),
    "double": (0.6, 1.1),
    "faint": (0.93, 0.95),
}


def flat_layers(flat: Flat, window: str, scene: Scene) -> Builder:
    """The builder of one vessel drawn flat in a window."""
    printed = np.array(layout().windows[window].centre_mm)
    centre = printed + np.array(flat.off_mm)
    sheet = sheet_of(scene)

    def build(ppm: float, seed: int) -> list[Layer]:
        rng = np.random.default_rng([flat.seed, seed, 23])
        upper = centre + np.array(flat.opening_mm)
        reach = float(flat.radius_mm + np.abs(upper - centre).max() + 2)
        xs, ys, origin = _raster(centre, reach, ppm)
        away = np.hypot(xs - centre[0], ys - centre[1])
        turn = np.arctan2(ys - centre[1], xs - centre[0])
        edge = flat.radius_mm - flat.rim_mm - away
        paper, grey = sheet.reflectance(np.array([[255, 255, 255], RING_SRGB]) / 255.0)
        glows = sheet.glow(np.stack([paper, grey]))
        density = _density(flat.dyes)
        through = (1 - flat.haze) ** 2 * 10 ** (-2 * density) * flat.light
        milk = flat.haze * 0.8 * flat.light * 10 ** (-density)
        outer, inner = RIMS[flat.rim]
        white, dark = np.full_like(paper, 3.0), 0.5 * paper
        spectra = np.stack([paper * through + milk, grey * through + milk, outer * paper, inner * paper, white, dark])
        glow = np.stack([glows[0] * through, glows[1] * through, *(np.zeros_like(paper) for _ in range(4))])
        index = np.zeros(xs.shape, np.uint8)
        if flat.ring:
            lift = rng.uniform(0.97, 1.03)
            index[np.abs(np.hypot(xs - printed[0], ys - printed[1]) - RING_RADIUS_MM * lift) < RING_WIDTH_MM / 2] = 1
        index[edge < 0] = 3
        index[edge < -flat.rim_mm / 2] = 2
        second = np.abs(np.hypot(xs - upper[0], ys - upper[1]) - flat.radius_mm) < 0.25
        if any(flat.opening_mm):
            index[second] = 3
        mix = np.exp(-np.clip(edge, 0, None) / rng.uniform(0.3, 1.0)) * rng.uniform(-0.35, 0.2) * (edge > 0)
        mix = mix + noise_field(xs.shape, 4 * ppm, rng) * 0.003
        for _ in range(flat.arcs):
            at, width = rng.uniform(-np.pi, np.pi), rng.uniform(0.2, 0.8)
            near = np.abs((turn - at + np.pi) % (2 * np.pi) - np.pi) < width
            index[near & (np.abs(edge - rng.uniform(0.5, 2.0)) < rng.uniform(0.15, 0.4))] = 4
        for _ in range(flat.spots):
            at_mm = centre + rng.uniform(-0.6, 0.6, 2) * flat.radius_mm
            wide, tall = rng.uniform(0.3, 1.5, 2)
            index[((xs - at_mm[0]) / wide) ** 2 + ((ys - at_mm[1]) / tall) ** 2 < 1] = 4
        for _ in range(flat.bubbles):
            at_mm, size = centre + rng.uniform(-0.6, 0.6, 2) * flat.radius_mm, rng.uniform(0.3, 0.9)
            gap = np.hypot(xs - at_mm[0], ys - at_mm[1])
            index[np.abs(gap - size) < 0.15] = 5
        alpha = np.clip((flat.radius_mm - away) * ppm, 0, 1)
        if any(flat.opening_mm):
            alpha = np.maximum(alpha, np.where(second, 0.6, 0.0))
        change = np.where((np.arange(6) == 4)[:, None], 0, spectra)
        return [
            shadow_layer(centre, flat.radius_mm, density, rng),
            Layer(index, ppm, origin, spectra, change, mix.astype(np.float32), glow, alpha.astype(np.float32)),
        ]

    return build


def with_vessels(scene: Scene, sample: Vessel | None, blank: Vessel | None) -> Scene:
    """The same photo with vessels of any sort in the windows."""
    extras: list[Builder] = [*scene.extras]
    for vessel, window in ((blank, "blank"), (sample, "sample")):
        if isinstance(vessel, Vial):
            extras.append(vial_layers(vessel, window, scene))
        elif isinstance(vessel, Well):
            extras.append(well_layers(vessel, window, scene))
        elif vessel is not None:
            extras.append(flat_layers(vessel, window, scene))
    return replace(scene, extras=tuple(extras))


def random_wells(rng: np.random.Generator, dyes: tuple[Dye, ...], depth_mm: float) -> tuple[Well, Well]:
    """Sample and blank in two wells of the same plate."""
    radius = float(rng.uniform(7.0, 11.0))
    like = Well(
        radius,
        depth_mm,
        float(rng.choice([0.0, 1.0])),
        glaze=float(rng.uniform(0.74, 0.88)),
        warm=float(rng.normal(0, 0.03)),
        block_mm=radius + float(rng.uniform(2.5, 5.0)),
        round_block=bool(rng.random() < 0.4),
        base_mm=float(rng.uniform(2.0, 5.0)),
    )
    pair = []
    for light in np.exp(rng.normal(0, 0.008, 2)):
        off = (float(rng.normal(0, 0.9)), float(rng.normal(0, 0.9)))
        seed, glints = int(rng.integers(1 << 30)), int(rng.choice([0, 1, 2]))
        pair.append(replace(like, light=float(light), off_mm=off, seed=seed, glints=glints))
    return replace(pair[0], dyes=dyes), pair[1]


def random_flats(rng: np.random.Generator, dyes: tuple[Dye, ...], depth_mm: float) -> tuple[Flat, Flat]:
    """Sample and blank drawn flat: radii from 4 to 15 mm, off the windows' middles by up to some millimetres."""
    rims: tuple[Rim, ...] = ("dark", "bright", "double", "faint")
    like = Flat(
        float(rng.uniform(4.0, 15.0)),
        float(rng.uniform(0.3, 1.6)),
        rims[int(rng.integers(4))],
        depth_mm,
        ring=bool(rng.random() < 0.6),
        arcs=int(rng.integers(0, 3)),
        spots=int(rng.choice([0, 0, 1, 2])),
    )
    shift = rng.normal(0, 1.5, 2) if rng.random() < 0.4 else np.zeros(2)
    pair = []
    for sign, light in zip((1.0, -1.0), np.exp(rng.normal(0, 0.008, 2)), strict=True):
        off = rng.normal(0, 1.2, 2)
        pair.append(
            replace(
                like,
                bubbles=int(rng.choice([0, 0, 1, 3])),
                opening_mm=(float(-sign * abs(shift[0])), float(shift[1])),
                light=float(light),
                off_mm=(float(off[0]), float(off[1])),
                seed=int(rng.integers(1 << 30)),
            )
        )
    return replace(pair[0], dyes=dyes), pair[1]
