"""Photos without pictures: what the reader would measure on card and strip, straight from a scene's spectra.

Light, ink, dye, sensor and tone curve are the renderer's; its pictures, and so blur, compression and finding, are left
out. That makes a photo a hundred times quicker, for numbers that only colour decides. What averaging leaves of noise
and print texture is drawn on top.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stripread.card.layout import layout
from stripread.card.patches import CLIP_HIGH, CLIP_LOW, PatchSamples
from stripread.strip.pads import PadSamples
from tests.scenes.ageing import sheet_of
from tests.scenes.measured import World
from tests.scenes.phone import phone
from tests.scenes.photo import camera_of
from tests.scenes.processing import looked
from tests.scenes.scene import Scene, random_scene
from tests.scenes.spectra import source
from tests.scenes.strips import StripState

Array = NDArray[np.float64]

PATCH_SD, PAD_SD = 0.004, 0.002  # of the encoded mean: texture of print and pad, compression
AROUND = 0.5  # mean of the picture, which the lens spreads as flare, in units of lit white
PADS_MM = (60.0, 40.0)  # the middle of the lane, near enough for every pad


@dataclass(frozen=True)
class SampledPhoto:
    """Card and pads of one photo; ``pads`` holds P pads of each of S strips, one after the other."""

    samples: PatchSamples
    pads: PadSamples


def sampled_photo(
    scene: Scene, strips: list[StripState], rng: np.random.Generator, patch_sd: float = PATCH_SD
) -> SampledPhoto:
    """What one photo of the scene's card, lamps and phone gives, with each of these strips in the lane in turn.

    ``patch_sd``: noise of a patch's encoded mean.
    """
    card, eye = layout(), phone(scene.phone_seed, scene.world)
    sheet = sheet_of(scene)
    ink = sheet.reflectance(card.nominal_srgb())
    glow = sheet.glow(ink)
    dye = np.vstack([strip.pad_spectra() for strip in strips])
    at = np.array([[p.rect_mm[0] + p.rect_mm[2] / 2, p.rect_mm[1] + p.rect_mm[3] / 2] for p in card.patches])
    at_dye = np.tile([PADS_MM], (len(dye), 1))
    camera = camera_of(scene)
    places = np.vstack([at, at_dye])
    across = camera.to_px(places) / np.array(camera.size) * 2.0 - 1.0
    raw = np.zeros((len(places), 3))
    for lamp in scene.lamps:
        spectra = np.vstack([ink + lamp.glow() * glow, dye])
        raw += eye.raw(spectra * lamp.power()) * lamp.field(places)[:, None]
    white = eye.raw(sum((lamp.power() for lamp in scene.lamps), np.zeros_like(source("D65"))))
    raw[len(ink) :] += scene.sheen * eye.raw(scene.lamps[0].power())
    encoded = _developed(raw + AROUND * eye.flare * white, white, across, scene, rng)
    patches, pads = encoded[: len(ink)], encoded[len(ink) :]
    clipped = ((patches * 255.0 <= CLIP_LOW) | (patches * 255.0 >= CLIP_HIGH)).astype(float)
    patches = np.clip(patches + patch_sd * rng.normal(size=patches.shape), 0.0, 1.0)
    pads = np.clip(pads + PAD_SD * rng.normal(size=pads.shape), 0.0, 1.0)
    samples = PatchSamples(
        patches,
        np.full(patches.shape, 0.3 * patch_sd**2),
        clipped,
        np.zeros(len(ink)),
        np.ones(len(ink), dtype=bool),
        at,
    )
    nothing = np.zeros(pads.shape)
    return SampledPhoto(
        samples,
        PadSamples(
            pads, nothing + PAD_SD**2, nothing, at_dye, np.zeros((len(pads), 4, 2)), np.zeros(len(pads)), reasons=()
        ),
    )


def _developed(raw: Array, white: Array, across: Array, scene: Scene, rng: np.random.Generator) -> Array:
    """Raw light (N, 3) to encoded values 0 to 1, as the renderer's phone does it (``tests.scenes.develop``)."""
    eye = phone(scene.phone_seed, scene.world)
    neutral, warm_raw = eye.raw(source("D65")), eye.raw(source("A"))
    taken = white**eye.adaptation * (neutral * white[1]) ** (1 - eye.adaptation)
    gains = np.exp(eye.white_error + rng.normal(0, 0.01, 3)) / taken
    gains = gains / gains.min()
    fall = 1.0 - eye.vignetting * (across**2).sum(axis=1) / 2.0
    seen = np.minimum(raw * (scene.level / (white * gains).max() * fall)[:, None], 1.0)
    d65, warm = neutral[0] / neutral[2], warm_raw[0] / warm_raw[2]
    warmth = float(np.clip(np.log(white[0] / white[2] / d65) / np.log(warm / d65), 0, 1))
    linear = np.minimum(seen * gains, 1.0) @ eye.colour_matrix(warmth, wide=False).T
    return looked(eye.tone(linear), eye.processing)


def world_of(setup: int) -> World:
    """Pairs of setups lie in the made-up world and in the choosing half of the measured one in turns."""
    return "choosing" if setup // 2 % 2 else "made-up"


def scene_of_setup(setup: int, draw: int, tag: int, *, phone_seed: int | None = None, hard: bool = False) -> Scene:
    """A scene with the card of a setup; ``phone_seed`` fixes the phone, else it is anybody's."""
    own: dict[str, Any] = {"printer_seed": setup, "sheet_seed": setup, "world": world_of(setup)}
    if phone_seed is not None:
        own["phone_seed"] = phone_seed
    scene = random_scene(np.random.default_rng([setup, draw, tag]), hard=hard, **own)
    return replace(scene, icc="srgb", local_tone=0.0)
