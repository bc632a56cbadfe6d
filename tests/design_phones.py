"""Phones and lamps for the design of what the reader expects of dyes (``tests/design_dyes.py``).

Sensitivities are skewed Gaussians with crosstalk and cut-offs, or measured ones of the choosing half
(``tests/scenes/measured.py``); a maker's matrix is fitted to smooth reflectances in two lights; lamps are CIE
illuminants, mixtures of two, and three narrow lines, or the choosing half's. Inks and dyes follow other rules than in
``tests/scenes``; but sensors, three-line lamps and the maker's smooth colours are of the same make as there, so that
photos from there are no wholly independent trial.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import colour
import numpy as np
from numpy.typing import NDArray

from tests.design_spectra import NM
from tests.scenes.measured import lamps, response
from tests.scenes.spectra import source

Array = NDArray[np.float64]

ORDINARY = ("D50", "D65", "D75", "A", "FL2", "FL4", "FL7", "FL8", "LED-B1", "LED-B2", "LED-B3", "LED-B4", "LED-B5")
ORDINARY += ("LED-V1", "LED-V2", "LED-BH1")
POOR = ("FL10", "FL11", "FL12", "LED-RGB1")
_NARROW, _POOR, _MIXED = 0.08, 0.10, 0.40  # shares of lamps


@cache
def matching() -> Array:
    """CIE 1931 2 degree colour matching functions on ``NM``, shape (31, 3)."""
    table = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy()
    return np.asarray(table.align(colour.SpectralShape(400, 700, 10)).values)


@cache
def illuminant(name: str) -> Array:
    """A CIE illuminant on ``NM``, each value the mean over a triangle 20 nm wide so that lines keep their energy."""
    table = colour.SDS_ILLUMINANTS[name]
    fine = np.arange(380.0, 721.0)
    weight = np.clip(1.0 - np.abs(fine[None] - NM[:, None]) / 10.0, 0.0, None)
    power = weight @ np.interp(fine, table.wavelengths, table.values) / weight.sum(axis=1)
    return np.asarray(power / (power @ matching()[:, 1]))


def lamp(rng: np.random.Generator, *, measured: bool = False) -> Array:
    """Power (31,) of a drawn light; with ``measured`` a lamp of the choosing half, or a mixture of two."""
    kind = rng.random()
    if measured:
        if kind < _NARROW + _POOR:
            return _of_the_half(str(rng.choice(lamps("choosing", poor=True))))
        power = _of_the_half(str(rng.choice(lamps("choosing"))))
        share = rng.uniform(0, 1) if rng.random() < _MIXED else 1.0
        return share * power + (1 - share) * _of_the_half(str(rng.choice(lamps("choosing"))))
    if kind < _NARROW:
        centres = np.array([455.0, 527.0, 628.0]) + rng.normal(0, 7, 3)
        heights, widths = np.exp(rng.normal(0, 0.3, 3)), rng.uniform(7, 16, 3)
        power = sum(h * np.exp(-0.5 * ((NM - c) / w) ** 2) for h, c, w in zip(heights, centres, widths, strict=True))
        return np.asarray(power / (power @ matching()[:, 1]))
    if kind < _NARROW + _POOR:
        return illuminant(str(rng.choice(POOR)))
    power = illuminant(str(rng.choice(ORDINARY)))
    if rng.random() < _MIXED:
        share = rng.uniform(0, 1)
        power = share * power + (1 - share) * illuminant(str(rng.choice(ORDINARY)))
    return power


@cache
def _of_the_half(name: str) -> Array:
    power = source(name)
    return np.asarray(power / (power @ matching()[:, 1]))


def _sensitivities(rng: np.random.Generator) -> Array:
    """Response (31, 3) of red, green and blue pixels."""
    bands = []
    for peak, narrow, wide in ((600, 60, 95), (537, 75, 110), (458, 55, 80)):
        at, skew = rng.normal(peak, 7), np.exp(rng.normal(0, 0.15))
        width = rng.uniform(narrow, wide) / 2.355 * np.where(at > NM, skew, 1 / skew)
        bands.append(np.exp(-0.5 * ((NM - at) / width) ** 2))
    pure = np.stack(bands, axis=1)
    leak = np.zeros((3, 3))
    for a, b in ((0, 1), (1, 0), (1, 2), (2, 1), (0, 2)):
        leak[a, b] = rng.uniform(0, 0.12)
    red_end = 1 / (1 + np.exp((NM - rng.uniform(650, 690)) / rng.uniform(4, 10)))
    blue_end = 1 / (1 + np.exp((rng.uniform(395, 415) - NM) / 5))
    return np.asarray((pure + pure @ leak) * (red_end * blue_end)[:, None])


@cache
def _smooth() -> Array:
    """Made-up smooth reflectances that a maker tunes the matrix to, (150, 31)."""
    rng = np.random.default_rng(5)
    logit = rng.normal(-0.3, 0.9, (150, 1)) * np.ones(len(NM))
    for _ in range(3):
        centre, width = rng.uniform(390, 710, (150, 1)), rng.uniform(25, 90, (150, 1))
        logit = logit + rng.normal(0, 1.6, (150, 1)) * np.exp(-0.5 * ((NM - centre) / width) ** 2)
    return np.asarray(0.03 + 0.87 / (1 + np.exp(-logit)))


@dataclass(frozen=True)
class Phone:
    """response (31, 3); cool, warm (3, 3): white-balanced raw to linear sRGB for D65 and A; error (3, 3) on top.

    contrast: of an S-curve in the encoded value. shoulder: roll-off of the highlights.
    """

    response: Array
    cool: Array
    warm: Array
    error: Array
    flare: float
    contrast: float
    shoulder: float

    @staticmethod
    def drawn(rng: np.random.Generator, *, measured: bool = False) -> Phone:
        """Draw a phone; with ``measured`` its sensor is a camera of the choosing half."""
        made, saturation = _sensitivities(rng), rng.uniform(0.95, 1.3)
        sensor = response("choosing", int(rng.integers(1 << 30))) if measured else made
        error = rng.normal(0, 0.02, (3, 3))
        cool, warm = (_matrix(sensor, illuminant(name), saturation) for name in ("D65", "A"))
        error = error - error.mean(axis=1, keepdims=True)
        flare, contrast, shoulder = rng.uniform(0.002, 0.02), rng.uniform(0.0, 0.4), rng.uniform(0.0, 0.8)
        return Phone(sensor, cool, warm, error, flare, contrast, shoulder)

    def photo(self, reflectance: Array, light: Array, level: float, rng: np.random.Generator) -> Array:
        """Encoded colours (N, 3), 0 to 1, of reflectances (N, 31); ``level`` is the exposure of a perfect white."""
        weight = light[:, None] * self.response
        warmth = float(np.clip(rng.uniform(-0.2, 1.2), 0, 1))
        matrix = (1 - warmth) * self.cool + warmth * self.warm + self.error
        linear = level * (reflectance @ weight / weight.sum(axis=0)) @ matrix.T
        linear = np.clip((1 - self.flare) * linear + 0.5 * self.flare, 0, 1)
        linear = linear * (1 + self.shoulder) / (1 + self.shoulder * linear)
        v = np.where(linear < 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 1e-9) ** (1 / 2.4) - 0.055)
        return np.asarray((1 - self.contrast) * v + self.contrast * v * v * (3 - 2 * v))


def _matrix(response: Array, light: Array, saturation: float) -> Array:
    weight, day = light[:, None] * response, illuminant("D65")[:, None] * matching()
    to_srgb = np.asarray(colour.RGB_COLOURSPACES["sRGB"].matrix_XYZ_to_RGB)
    target = (_smooth() @ day @ to_srgb.T) / (day.sum(axis=0) @ to_srgb.T)
    grey = (target @ np.array([0.2126, 0.7152, 0.0722]))[:, None]
    raw = _smooth() @ weight / weight.sum(axis=0)
    matrix = np.linalg.lstsq(raw, grey + saturation * (target - grey), rcond=None)[0].T
    return np.asarray(matrix / matrix.sum(axis=1, keepdims=True))
