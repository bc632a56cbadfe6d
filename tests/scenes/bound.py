"""How well a pH could be read at all: Cramér-Rao bounds from sensor noise and from how strips differ.

With slope J = d colours / d pH, noise of covariance R, and strips that differ by normal draws which move the colours by
A (a row for each draw and standard deviation), no unbiased reader has a smaller variance than
(J' (R + A'A)^-1 J)^-1: the hybrid Cramér-Rao bound, pH being fixed and the draws random (from memory), taken at the
true strip. What a scene's sensor sees of each pad (raw red, green, blue, averaged over the pad) is the observation:
any one-to-one change of coordinates, such as CIELAB, holds no more.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import lru_cache

import numpy as np

from tests.scenes.layers import Array
from tests.scenes.phone import phone
from tests.scenes.photo import camera_of, truth_of
from tests.scenes.scene import Scene
from tests.scenes.spectra import source, true_lab
from tests.scenes.strips import RECIPES, StripState

STEP = 0.01  # pH
# Standard deviations of the renderer's strips: (log load, pKa) a pad, (log load, pKa) a dye, log lightness of paper.
OWN = ((0.02, 0.01), (0.0, 0.0), 0.004)  # strip to strip within a lot
LOT = ((0.03, 0.0), (0.02, 0.03), 0.01)  # lot to lot


@dataclass(frozen=True)
class Nudged(StripState):
    """A strip that is a little other than its seeds say: one draw moved, ``which`` = (sort, pad, dye)."""

    which: tuple[str, int, int] = ("", 0, 0)
    by: float = 0.0

    def _draws(self) -> tuple[Array, Array, float]:
        load, shift, lightness = super()._draws()
        sort, pad, dye = self.which
        dyes = slice(None) if dye < 0 else dye
        if sort == "load":
            load[pad, dyes] *= np.exp(self.by)
        elif sort == "shift":
            shift[pad, dyes] += self.by
        elif sort == "lightness":
            lightness *= float(np.exp(self.by))
        return load, shift, lightness


@dataclass(frozen=True)
class Bounds:
    """Smallest standard deviations of pH: sensor noise alone; strips of a known lot too; an unknown lot too."""

    noise: float
    strip: float
    lot: float


def _causes(
    kind: str, sizes: tuple[tuple[float, float], tuple[float, float], float]
) -> dict[tuple[str, int, int], float]:
    """Standard deviation of each draw in which strips differ."""
    (pad_load, pad_shift), (dye_load, dye_shift), lightness = sizes
    causes = {("lightness", 0, 0): lightness}
    for p, dyes in enumerate(RECIPES[kind].pads):
        causes[("load", p, -1)], causes[("shift", p, -1)] = pad_load, pad_shift
        for d in range(len(dyes)):
            causes[("load", p, d)], causes[("shift", p, d)] = dye_load, dye_shift
    return {which: sd for which, sd in causes.items() if sd > 0}


def spread(strip: StripState, sizes: tuple[tuple[float, float], tuple[float, float], float]) -> Array:
    """What each draw does to the pads' reflectance for one standard deviation: (causes, P, 31)."""
    state = {f.name: getattr(strip, f.name) for f in fields(StripState)}
    rows = []
    for which, sd in _causes(strip.kind, sizes).items():
        up, down = (Nudged(**state, which=which, by=sign * sd / 2).pad_spectra() for sign in (1, -1))
        rows.append(up - down)
    return np.array(rows)


def slope_of(strip: StripState) -> Array:
    """Change of the pads' reflectance per pH: (P, 31)."""
    up, down = (replace(strip, ph=strip.ph + sign * STEP).pad_spectra() for sign in (1, -1))
    return np.asarray((up - down) / (2 * STEP))


def _sd(slope: Array, cov: Array) -> float:
    return float(1.0 / np.sqrt(slope @ np.linalg.solve(cov, slope)))


def scene_bounds(scene: Scene) -> Bounds:
    """Bounds of a scene's first strip under its own lamps, phone and exposure, seen by a reader that knows all these.

    Left out, so that the bounds are a little too small: flare, sheen, mottle of the pads, 8 bits and compression.
    """
    strip = scene.strips[0].strip
    eye = phone(scene.phone_seed, scene.world)
    camera = camera_of(scene)
    truth = truth_of(scene, camera).strips[0]
    at_mm = truth.pad_corners_mm.mean(axis=1)
    at_px = truth.pad_corners_px.mean(axis=1) / np.array(scene.size) * 2.0 - 1.0
    light = sum(lamp.power()[None] * lamp.field(at_mm)[:, None] for lamp in scene.lamps)  # (P, 31)
    white = eye.raw(sum((lamp.power() for lamp in scene.lamps), np.zeros_like(source("D65"))))
    neutral = eye.raw(source("D65"))
    taken = white**eye.adaptation * (neutral * white[1]) ** (1 - eye.adaptation)
    gains = np.exp(eye.white_error) / taken  # the phone's white balance decides which channel is nearest to full
    exposure = scene.level * gains.min() / (white * gains).max()
    fall = exposure * (1.0 - eye.vignetting * (at_px**2).sum(axis=1) / 2.0)

    def seen(spectra: Array) -> Array:
        """Raw values 0 to 1 of spectra (..., P, 31): (..., P * 3)."""
        raw = eye.raw(spectra * light) * fall[:, None]
        return np.asarray(raw.reshape(*raw.shape[:-2], -1))

    signal = seen(strip.pad_spectra())
    smooth = max(3, round(eye.smooth * 10)) / 10.0
    pixels = _areas(truth.pad_corners_px) / max(1.0, 4.0 * np.pi * smooth**2)  # that count as independent
    noise = np.diag((signal / eye.electrons + eye.read_noise**2) / np.repeat(pixels, 3))
    slope = seen(slope_of(strip))
    own, lot = (seen(spread(strip, sizes)) for sizes in (OWN, LOT))
    return Bounds(_sd(slope, noise), _sd(slope, noise + own.T @ own), _sd(slope, noise + own.T @ own + lot.T @ lot))


def _areas(corners: Array) -> Array:
    """Areas of quadrilaterals (P, 4, 2)."""
    x, y = corners[..., 0], corners[..., 1]
    return np.asarray(np.abs((x * np.roll(y, -1, axis=1) - y * np.roll(x, -1, axis=1)).sum(axis=1)) / 2.0)


@lru_cache(maxsize=1024)
def strip_bound(kind: str, ph: float, lots: bool = True, noise_lab: float = 0.2) -> float:
    """Bound without a scene: a reader knows the mean curve and measures L, a and b to ``noise_lab`` each.

    Pads' colours vary from strip to strip and, with ``lots``, from lot to lot.
    """
    strip = Nudged(kind, ph)
    lab = true_lab(strip.pad_spectra()).ravel()

    def moved(change: Array) -> Array:
        return (true_lab(strip.pad_spectra() + change).reshape(len(change), -1)) - lab

    slope = moved(slope_of(strip)[None] * STEP)[0] / STEP
    ways = [moved(spread(strip, sizes)) for sizes in ((OWN, LOT) if lots else (OWN,))]
    cov = sum(way.T @ way for way in ways) + np.eye(len(slope)) * noise_lab**2
    return _sd(slope, cov)
