"""Vials, wells and beakers in the card's windows: liquid over paper, walls that lean by parallax, reflections, bubbles.

Heights above a flat card project along rays from the lens onto the card's plane: a circle at height z becomes a circle
again, larger by E / (E - z) and pushed away from the point under the lens. Light passes the liquid twice.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from stripread.card.layout import RING_RADIUS_MM, RING_WIDTH_MM, layout
from tests.scenes.ageing import sheet_of
from tests.scenes.layers import Array, Builder, Layer, noise_field, placed
from tests.scenes.light import CARD_CENTRE
from tests.scenes.photo import camera_of
from tests.scenes.printer import Printer
from tests.scenes.scene import Scene
from tests.scenes.spectra import WAVELENGTHS
from tests.scenes.surfaces import RING_SRGB

WATER = 1.333  # refractive index
THIN = 0.1
Grid = NDArray[np.float64]


@dataclass(frozen=True)
class Dye:
    """What colours a liquid: decadic absorbance at the band's maximum for one passage, and the band."""

    absorbance: float = 0.0
    peak_nm: float = 615.0
    width_per_cm: float = 5000.0

    def spectrum(self) -> Array:
        """Decadic absorbance over the grid, one passage."""
        offset = (1e7 / WAVELENGTHS - 1e7 / self.peak_nm) / self.width_per_cm
        return np.asarray(self.absorbance * np.exp(-4 * np.log(2) * offset**2))


@dataclass(frozen=True)
class Vial:
    """One vessel: inner radius, wall, height and depth of the liquid in mm, and what is in it.

    haze : share of light scattered back before it reaches the paper; haze_colour its reflectance (31,), None for milk.
    light : its own level against the other vial (glass, shade); mirror: a coloured reflection (31,) over part of it.
    """

    radius_mm: float = 10.0
    wall_mm: float = 1.0
    height_mm: float = 30.0
    depth_mm: float = 20.0
    dyes: tuple[Dye, ...] = ()
    haze: float = 0.0
    haze_colour: Array | None = None
    light: float = 1.0
    mirror: Array | None = None
    bubbles: int = 0
    glints: int = 0  # lamps mirrored in the surface
    off_mm: tuple[float, float] = (0.0, 0.0)
    seed: int = 0


def copper(mg_per_l: float, path_mm: float, epsilon: float = 55.0, peak_nm: float = 615.0) -> Dye:
    """Copper as tetraammine: Beer-Lambert with 63.546 g/mol; absorptivity and peak as in docs/tint.md."""
    return Dye(epsilon * mg_per_l / 63546.0 * path_mm / 10.0, peak_nm)


def hydroxide(haze: float) -> dict[str, object]:
    """What to set on a vial in which copper(II) hydroxide floats: pale blue, a made-up spectrum."""
    return {"haze": haze, "haze_colour": 0.75 - 0.5 / (1 + np.exp(-(WAVELENGTHS - 560.0) / 25.0))}


def eye_over(scene: Scene) -> Array:
    """The lens over the card: (x, y, z) mm in card coordinates, z up."""
    camera = camera_of(scene)
    place = -camera.distance_mm * camera.rotation[2]
    return np.array([place[0] + CARD_CENTRE[0], place[1] + CARD_CENTRE[1], place[2]])


def vial_layers(vial: Vial, window: str, scene: Scene) -> Builder:
    """The builder of one vial standing in a window of this scene."""
    eye = eye_over(scene)
    centre = np.array(layout().windows[window].centre_mm) + np.array(vial.off_mm)
    sheet = sheet_of(scene)
    return lambda ppm, seed: _build(vial, centre, eye, sheet, np.array(layout().windows[window].centre_mm), ppm, seed)


def lifted(centre: Array, radius: float, height: float, eye: Array) -> tuple[Array, float]:
    share = height / (eye[2] - height)
    return centre + (centre - eye[:2]) * share, radius * (1 + share)


def _build(  # noqa: PLR0917, PLR0915 - one picture, painted from the back to the front
    vial: Vial, centre: Array, eye: Array, sheet: Printer, printed: Array, ppm: float, seed: int
) -> list[Layer]:
    rng = np.random.default_rng([vial.seed, seed, 21])
    depth, outer = vial.depth_mm, vial.radius_mm + vial.wall_mm
    top, r_top = lifted(centre, vial.radius_mm, vial.height_mm, eye)
    rim, r_rim = lifted(centre, outer, vial.height_mm, eye)
    surface, r_surface = lifted(centre, vial.radius_mm, depth, eye)
    floor, r_floor = lifted(centre, vial.radius_mm, depth * (1 - 1 / WATER), eye)
    reach = float(max(outer, np.abs(rim - centre).max() + r_rim) + 4)
    cells = round(2 * reach * ppm)
    axis = (np.arange(cells) + 0.5) / ppm - reach
    xs, ys = np.meshgrid(axis + centre[0], axis + centre[1])

    def inside(place: Array, radius: float) -> Grid:
        """Signed depth in mm inside a circle."""
        return np.asarray(radius - np.hypot(xs - place[0], ys - place[1]))

    hull = np.stack([inside(*lifted(centre, outer, z, eye)) for z in np.linspace(0, vial.height_mm, 12)]).max(axis=0)
    opening, liquid, bottom = inside(top, r_top), inside(surface, r_surface), inside(floor, r_floor)
    plain = sheet.reflectance(np.array([[255, 255, 255], RING_SRGB]) / 255.0)
    glow = sheet.glow(plain)
    # in by the lamp (nearly straight after refraction), out to the lens
    slant = np.linalg.norm(eye[:2] - centre) / max(eye[2] - depth, 1.0)
    sine = slant / np.hypot(1, slant) / WATER
    passages = 1.0 / np.sqrt(1 - sine**2) + rng.uniform(1.0, 1.04)
    density = sum((dye.spectrum() for dye in vial.dyes), np.zeros_like(WAVELENGTHS))
    twice, once = 10 ** (-density * passages), 10 ** (-density * passages * 0.45)
    milk = np.full_like(WAVELENGTHS, 0.8) if vial.haze_colour is None else vial.haze_colour
    seen = ((1 - vial.haze) ** 2 * plain * twice + vial.haze * milk * once) * vial.light * 0.96
    shine = (1 - vial.haze) ** 2 * glow * twice * vial.light * 0.96
    glass, dark = np.full_like(WAVELENGTHS, rng.uniform(0.45, 0.75)), np.full_like(WAVELENGTHS, 0.2)
    aside = 0.75 * (0.6 * seen[0] + 0.4 * glass * twice)  # the liquid seen through the wall
    lamp = np.full_like(glass, 3.0)
    spectra = np.stack([glass, seen[0], seen[1], seen[0] * 0.72, glass * 0.6 + 0.3, dark, aside, lamp])
    glows = np.zeros_like(spectra)
    glows[1:4] = shine[0], shine[1], shine[0] * 0.5
    index = np.zeros((cells, cells), np.uint8)
    filled = np.stack([inside(*lifted(centre, vial.radius_mm, z, eye)) for z in np.linspace(0, depth, 8)]).max(axis=0)
    index[filled > 0] = 6
    looked_into = (opening > 0) & (liquid > 0)
    index[looked_into] = 3  # the wall below the surface
    index[looked_into & (bottom > 0)] = 1
    share = depth * (1 - 1 / WATER) / (eye[2] - depth * (1 - 1 / WATER))
    ring = printed + (printed - eye[:2]) * share
    on_ring = np.abs(np.hypot(xs - ring[0], ys - ring[1]) - RING_RADIUS_MM * (1 + share)) < RING_WIDTH_MM / 2
    index[looked_into & (bottom > 0) & on_ring] = 2
    mix = np.zeros(index.shape, np.float32)
    change = np.zeros_like(spectra)
    change[1:4] = spectra[1:4]
    meniscus = np.exp(-np.clip(np.minimum(liquid, opening), 0, None) / rng.uniform(0.4, 1.0)) * rng.uniform(-0.3, 0.25)
    slope = rng.normal(0, 0.006, 2)
    mix += np.where(
        looked_into, meniscus + slope[0] * (xs - centre[0]) / 10 + slope[1] * (ys - centre[1]) / 10, 0
    ).astype(np.float32)
    mix += np.where(looked_into, noise_field(index.shape, 4 * ppm, rng) * (0.004 + 0.03 * vial.haze), 0).astype(
        np.float32
    )
    index[(np.hypot(xs - rim[0], ys - rim[1]) < r_rim) & (opening <= 0)] = 4  # the rim itself
    for _ in range(vial.bubbles):
        turn, away, size = rng.uniform(0, 6.3), rng.uniform(0, 0.8) * vial.radius_mm, rng.uniform(0.3, 0.9)
        gap = np.hypot(xs - surface[0] - away * np.cos(turn), ys - surface[1] - away * np.sin(turn))
        index[looked_into & (np.abs(gap - size) < 0.12)] = 5
        index[looked_into & (gap < 0.4 * size)] = 4
    for _ in range(vial.glints):
        at, wide, tall = surface + rng.uniform(-0.7, 0.7, 2) * r_surface, *rng.uniform(0.3, 1.5, 2)
        index[looked_into & (((xs - at[0]) / wide) ** 2 + ((ys - at[1]) / tall) ** 2 < 1)] = 7
    alpha = np.clip((hull + 0.05) * ppm, 0, 1)
    alpha = np.where(index == 0, np.where(hull > 0.6, 0.55, 0.8) * alpha, alpha).astype(
        np.float32
    )  # glass is half clear
    gloss = np.array([0.6, 1.0, 1.0, 1.0, 1.2, 1.0, 0.6, 0.0])
    origin = (float(centre[0] - reach), float(centre[1] - reach))
    layers = [
        shadow_layer(centre, outer, density, rng),
        Layer(index, ppm, origin, spectra, change, mix, glows, alpha, gloss=gloss),
    ]
    if vial.mirror is not None:
        where = placed_spot(xs, ys, surface + rng.normal(0, 0.4, 2) * r_surface, r_surface * rng.uniform(0.5, 0.9))
        # A mirror image adds its light to the liquid's: a thin cover of liquid made that much brighter does the same.
        tint = np.stack([seen[0] + vial.mirror / THIN])
        strength = (where * looked_into * THIN).astype(np.float32)
        layers.append(Layer(np.zeros_like(index), ppm, origin, tint, alpha=strength))
    return layers


def placed_spot(xs: Grid, ys: Grid, place: Array, radius: float) -> Grid:
    """A soft patch, 1 in its middle."""
    return np.asarray(np.exp(-((((xs - place[0]) ** 2 + (ys - place[1]) ** 2) / radius**2) ** 1.5)))


def shadow_layer(centre: Array, outer: float, density: Array, rng: np.random.Generator) -> Layer:
    """The soft shadow that a vessel throws on the card, tinted by what is in it."""
    ppm, reach = 4.0, outer + 14
    cells = round(2 * reach * ppm)
    mask = np.zeros((cells, cells), np.float32)
    turn = rng.uniform(0, 2 * np.pi)
    off = rng.uniform(1, 4) * np.array([np.cos(turn), np.sin(turn)])
    middle = tuple(int(v) for v in (off + reach) * ppm)
    cv2.circle(mask, middle, round(outer * ppm), float(rng.uniform(0.05, 0.25)), -1)
    mask = cv2.GaussianBlur(mask, (0, 0), rng.uniform(1.0, 2.5) * ppm)
    tint = 0.25 * 10 ** (-density)
    origin = (float(centre[0] - reach), float(centre[1] - reach))
    return Layer(np.zeros(mask.shape, np.uint8), ppm, origin, tint[None], alpha=mask)


def with_vials(scene: Scene, sample: Vial | None, blank: Vial | None) -> Scene:
    """The same photo with vials in the windows."""
    extras: list[Builder] = [*scene.extras]
    for vial, window in ((blank, "blank"), (sample, "sample")):
        if vial is not None:
            extras.append(vial_layers(vial, window, scene))
    return replace(scene, extras=tuple(extras))


def random_pair(rng: np.random.Generator, dyes: tuple[Dye, ...], path_mm: float, **fixed: object) -> tuple[Vial, Vial]:
    """Sample and blank in like vessels, filled to the same depth as well as a careful hand does."""
    radius = float(rng.uniform(8.5, 11.5))
    height = path_mm * float(rng.uniform(1.04, 1.2)) + float(rng.uniform(1, 6))
    light = np.exp(rng.normal(0, 0.008, 2))
    vials = []
    for n, inside in enumerate((dyes, ())):
        vials.append(
            Vial(
                radius,
                float(rng.uniform(0.7, 1.3)),
                height,
                path_mm,
                inside,
                light=float(light[n]),
                bubbles=int(rng.choice([0, 0, 1, 3])),
                off_mm=(float(rng.normal(0, 0.7)), float(rng.normal(0, 0.7))),
                seed=int(rng.integers(1 << 30)),
            )
        )
    return replace(vials[0], **fixed), vials[1]  # type: ignore[arg-type]


__all__ = ["Dye", "Vial", "copper", "hydroxide", "placed", "random_pair", "vial_layers", "with_vials"]
