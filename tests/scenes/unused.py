"""Unused strips of any make: geometry, colours and carrier drawn at random, laid on the card as somebody would."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from stripread.card.layout import LANE_MM
from tests.scenes.layers import Array, Builder, Layer, noise_field, placed
from tests.scenes.scene import Scene, random_scene
from tests.scenes.spectra import N_BANDS, WAVELENGTHS
from tests.scenes.strips import DYES, from_k_over_s, paper_k_over_s
from tests.scenes.surfaces import _cast

Carrier = Literal["white", "cream", "clear"]
ROLL_SHARE = 0.12
HANDLE_MM = 14.0  # to hold a strip by


@dataclass(frozen=True)
class UnusedPad:
    """One pad as it really is: where it begins (mm from the dipped end), its length and width, load of its dyes."""

    offset_mm: float
    length_mm: float
    width_mm: float
    side_mm: float  # how far its middle lies from the strip's
    dyes: tuple[tuple[str, float, float], ...]  # name, load (K/S at unit absorptivity), pH that it was set to

    def spectrum(self, strength: float = 1.0) -> Array:
        """Reflectance, dry, shape (31,)."""
        k_over_s = paper_k_over_s(1.0)
        for name, load, ph in self.dyes:
            k_over_s = k_over_s + 3.0 * load * strength * DYES[name].spectrum(ph)
        return from_k_over_s(k_over_s, wet=False)


@dataclass(frozen=True)
class Unused:
    """One unused strip; roll paper is one pad as long as the piece."""

    width_mm: float
    length_mm: float
    pads: tuple[UnusedPad, ...]
    carrier: Carrier
    roll: bool
    seed: int


def drawn(rng: np.random.Generator) -> Unused:
    """A strip of a make that nobody has seen before."""
    seed = int(rng.integers(1 << 30))
    if rng.random() < ROLL_SHARE:
        length, width = float(rng.uniform(20, 60)), float(rng.uniform(5, 10))
        return Unused(width, length, (UnusedPad(0.0, length, width, 0.0, _dyes(rng)),), "white", True, seed)
    count = int(rng.integers(1, 7))
    width = float(rng.uniform(4.0, 8.0))
    pad, gap = float(rng.uniform(3.5, 8.0)), float(rng.uniform(0.8, 4.0))
    pads, at = [], float(rng.choice([0.0, 1.0], p=[0.15, 0.85]) * rng.uniform(0.8, 4.0))
    narrow = float(rng.choice([0.0, 1.0]) * rng.uniform(0.0, 0.15)) * width
    for _ in range(count):
        length = pad * float(np.exp(rng.normal(0, 0.04)))
        if pads and at + length + HANDLE_MM > 90.0:
            break
        pads.append(UnusedPad(at, length, width - narrow, float(rng.normal(0, 0.08)), _dyes(rng)))
        at += length + gap * float(np.exp(rng.normal(0, 0.08)))
    end = pads[-1].offset_mm + pads[-1].length_mm
    length = end + float(rng.uniform(HANDLE_MM, max(90.0 - end, HANDLE_MM + 1.0)))
    carrier: Carrier = str(rng.choice(["white", "cream", "clear"], p=[0.55, 0.25, 0.2]))  # type: ignore[assignment]
    return Unused(width, length, tuple(pads), carrier, False, seed)


def _dyes(rng: np.random.Generator) -> tuple[tuple[str, float, float], ...]:
    """One to three dyes, all of them pale or all strong: loads over two powers of ten."""
    load = float(np.exp(rng.uniform(np.log(0.008), np.log(0.8))))
    names = rng.choice(sorted(DYES), size=int(rng.integers(1, 4)), replace=False)
    return tuple((str(name), load * float(np.exp(rng.normal(0, 0.5))), float(rng.uniform(3.0, 8.0))) for name in names)


def carrier_reflectance(strip: Unused) -> tuple[Array, float]:
    """Reflectance of the bare carrier (31,) and how much of what lies below it hides."""
    rng = np.random.default_rng([strip.seed, 1])
    short = np.exp(-(WAVELENGTHS - 400) / 40)
    if strip.carrier == "clear":  # a film that takes a little light on its way and back
        return np.full(N_BANDS, float(rng.uniform(0.3, 0.6))), float(rng.uniform(0.08, 0.3))
    if strip.carrier == "cream":
        return rng.uniform(0.78, 0.88) * (1 - rng.uniform(0.08, 0.25) * short), 1.0
    return rng.uniform(0.78, 0.92) * (1 - rng.uniform(0.0, 0.06) * short), 1.0


@dataclass(frozen=True)
class Laid:
    """Where the strip's middle lies on the card (mm), and how it is turned; its dipped end points left."""

    x_mm: float
    y_mm: float
    angle_deg: float

    def on_card(self, strip: Unused, points: Array) -> Array:
        """Points (N, 2) along and across from the middle of the dipped end, mm, on the card."""
        to_card = placed(self.x_mm, self.y_mm, self.angle_deg)
        return np.asarray((points - np.array([strip.length_mm / 2, 0.0])) @ to_card[:, :2].T + to_card[:, 2])


def lie(strip: Unused, rng: np.random.Generator) -> Laid:
    """Somewhere in the lane, about straight."""
    angle = float(np.clip(rng.normal(0, 3.0), -9.0, 9.0))
    x, y, w, h = LANE_MM
    tall = abs(np.sin(np.radians(angle))) * strip.length_mm + strip.width_mm
    free_x, free_y = max(w - strip.length_mm - 2.0, 0.0) / 2, max(h - tall - 1.0, 0.0) / 2
    return Laid(x + w / 2 + rng.uniform(-0.9, 0.9) * free_x, y + h / 2 + rng.uniform(-0.9, 0.9) * free_y, angle)


def builder(strip: Unused, laid: Laid) -> Builder:
    """The strip as a thing that a scene takes."""

    def build(ppm: float, _shot: int) -> list[Layer]:
        return _layers(strip, laid, int(ppm))

    return build


def _layers(strip: Unused, laid: Laid, ppm: int) -> list[Layer]:
    rng = np.random.default_rng([strip.seed, 2])
    width, length = strip.width_mm, strip.length_mm
    shape = (round(width * ppm), round(length * ppm))
    ys, xs = (np.indices(shape, dtype=np.float32) + 0.5) / ppm
    xs, ys = xs * (length * ppm / shape[1]), ys * (width * ppm / shape[0]) - width / 2
    base, hides = carrier_reflectance(strip)
    index = np.zeros(shape, dtype=np.uint8)
    mix = np.zeros(shape, dtype=np.float32)
    alpha = np.full(shape, hides, dtype=np.float32)
    mottle = noise_field(shape, 0.8 * ppm, rng) * 0.025 + noise_field(shape, 3.0 * ppm, rng) * 0.015
    rim = rng.uniform(-0.05, 0.12)
    for p, pad in enumerate(strip.pads):
        inside = (xs >= pad.offset_mm) & (xs < pad.offset_mm + pad.length_mm)
        inside &= np.abs(ys - pad.side_mm) < pad.width_mm / 2
        edge = np.minimum(xs - pad.offset_mm, pad.offset_mm + pad.length_mm - xs)
        edge = np.minimum(edge, pad.width_mm / 2 - np.abs(ys - pad.side_mm))
        index[inside] = 1 + p
        alpha[inside] = 1.0
        mix[inside] = (mottle + rim * np.exp(-np.maximum(edge, 0.0) / 0.35))[inside]
    spectra = np.vstack([base[None], *(pad.spectrum()[None] for pad in strip.pads)])
    more = np.vstack([base[None], *(pad.spectrum(1.1)[None] for pad in strip.pads)])
    gloss = np.concatenate([[0.5], np.full(len(strip.pads), 0.05)])
    # The raster's cells are square, so its sides are those of whole cells: its middle stays where the strip's is.
    layer = Layer(
        index,
        ppm,
        (-shape[1] / ppm / 2, -shape[0] / ppm / 2),
        spectra,
        (more - spectra) / 0.1,
        mix,
        alpha=None if hides == 1.0 else alpha,
        to_card=placed(laid.x_mm, laid.y_mm, laid.angle_deg),
        gloss=gloss,
    )
    return [_cast(layer, rng), layer]


def unused_scene(seed: int, **fixed: Any) -> tuple[Scene, Unused, Laid]:
    """A photo of an unused strip as somebody careful takes it; ``fixed`` sets fields of the scene."""
    rng = np.random.default_rng([seed, 107])
    scene = random_scene(rng, kind="four", **fixed)
    strip = drawn(rng)
    laid = lie(strip, rng)
    return replace(scene, strips=(), extras=(builder(strip, laid),)), strip, laid
