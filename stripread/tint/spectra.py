"""What copper's ammonia blue does to a phone's picture, by physics, for a population of phones and lights.

Light goes down through the liquid, off the white paper and up again: two passages. Each channel of the picture is an
integral over the spectrum, so Beer-Lambert's law does not hold for it at high absorbance; the curves here are the
integrals themselves. What a phone's sensor, its colour matrix and the lamp really are is unknown: a fixed sample of
plausible systems stands for that doubt.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from stripread.colour import RGB_TO_XYZ, WHITE_D50
from stripread.gauss import gaussian
from stripread.tuned import tuned

Array = NDArray[np.float64]

COPPER_G_PER_MOL = 63.546  # IUPAC abridged standard atomic weight
_TUNED = tuned("stripread.tint")
PEAK_NM = _TUNED.number("copper_peak_nm")
PEAK_SD_NM = _TUNED.number("copper_peak_sd_nm")
WIDTH_PER_CM = _TUNED.number("copper_width_per_cm")
WIDTH_SD = _TUNED.number("band_width_sd")
EPSILON = _TUNED.number("copper_epsilon")
EPSILON_SD = _TUNED.number("copper_epsilon_sd")
TONE_SLOPE = _TUNED.number("tone_slope")
TONE_SD = _TUNED.number("tone_slope_sd")
SYSTEMS = 128
_NM = np.arange(400.0, 701.0, 10.0)
_A_LOW = np.arange(-0.1, 0.0, 0.001)
_A_HIGH = np.concatenate([np.arange(0.0, 0.1, 0.0005), np.arange(0.1, 0.2, 0.001), np.geomspace(0.2, 7.0, 160)])
NICKEL_NM = _TUNED.number("nickel_nm")
NICKEL_SD_NM = _TUNED.number("nickel_sd_nm")
NICKEL_WIDTH_PER_CM = _TUNED.number("nickel_width_per_cm")


@dataclass(frozen=True)
class TintCurves:
    """Ratio of sample to blank in the picture's linear channels against the band's absorbance.

    absorbance (G,): decadic, at the band maximum, one passage; from -0.1 (a straight continuation, so that noise about
    nothing has two sides). ratio (S, G, 3): for each system. slope (S, 3): d ln ratio / d absorbance at zero.
    """

    absorbance: Array
    ratio: Array
    slope: Array


def per_mg_l_mm(epsilon: float = EPSILON) -> float:
    """Absorbance, one passage, of 1 mg/L of copper through 1 mm, for a molar absorptivity in L/(mol cm)."""
    return epsilon / COPPER_G_PER_MOL / 1000.0 / 10.0


def band(nm: Array, peak_nm: Array, width_per_cm: Array) -> Array:
    """A band of unit height, Gaussian in wavenumber: (S, W) for wavelengths (W,) and parameters (S,)."""
    offset = (1e7 / nm[None, :] - 1e7 / peak_nm[:, None]) / width_per_cm[:, None]
    return np.asarray(np.exp(-4.0 * np.log(2.0) * offset**2))


def observer(nm: Array) -> Array:
    """CIE 1931 colour matching functions by the multi-lobe fit of Wyman, Sloan and Shirley (JCGT 2013): (W, 3)."""

    def lobe(height: float, centre: float, below: float, above: float) -> Array:
        width = np.where(nm < centre, below, above)
        return np.asarray(height * gaussian(nm - centre, width))

    x = lobe(1.056, 599.8, 37.9, 31.0) + lobe(0.362, 442.0, 16.0, 26.7) + lobe(-0.065, 501.1, 20.4, 26.2)
    y = lobe(0.821, 568.8, 46.9, 40.5) + lobe(0.286, 530.9, 16.3, 31.1)
    z = lobe(1.217, 437.0, 11.8, 36.0) + lobe(0.681, 459.0, 26.0, 13.8)
    return np.stack([x, y, z], axis=1)


def _lamps(rng: np.random.Generator, count: int) -> Array:
    """Spectra (count, W): daylight and glow lamps (black bodies), white diodes (blue line and phosphor), tubes."""
    metres = _NM * 1e-9
    spectra = np.empty((count, _NM.size))
    for n in range(count):
        sort = rng.uniform()
        kelvin = 1.0 / rng.uniform(1 / 7000.0, 1 / 2600.0)
        body = metres**-5 / (np.exp(1.438777e-2 / (metres * kelvin)) - 1.0)
        body = body / body.mean()
        if sort < 0.45:
            spectra[n] = body
            continue
        if sort < 0.85:
            blue = gaussian(_NM - rng.normal(452.0, 5.0), rng.uniform(8.0, 13.0))
            centre = rng.uniform(555.0, 605.0)
            phosphor = gaussian(_NM - centre, rng.uniform(45.0, 62.0))
            spectra[n] = rng.uniform(0.4, 1.6) * blue + phosphor
        else:
            lines = np.zeros_like(_NM)
            for centre, height, width in ((437.0, 0.5, 10.0), (490.0, 0.3, 9.0), (544.0, 1.0, 8.0), (611.0, 1.1, 8.0)):
                lines += height * np.exp(rng.normal(0.0, 0.2)) * gaussian(_NM - centre, width)
            spectra[n] = lines + 0.15 * body
        spectra[n] = 0.85 * spectra[n] / spectra[n].mean() + 0.15 * body
    return spectra


def _sensors(rng: np.random.Generator, count: int) -> Array:
    """Sensor responses (count, W, 3): skewed bands with cross-talk behind an infrared filter."""
    out = np.empty((count, _NM.size, 3))
    colorimetric = observer(_NM) @ np.linalg.inv(RGB_TO_XYZ).T
    for n in range(count):
        if n % 4 == 3:  # a quarter see like the eye, as a picture in sRGB is meant to: the other end of what is made
            out[n] = colorimetric
            continue
        for k, (centre, below, above) in enumerate(((600.0, 28.0, 42.0), (534.0, 34.0, 38.0), (460.0, 26.0, 30.0))):
            at = centre + rng.normal(0.0, 7.0)
            width = np.where(at > _NM, below, above) * np.exp(rng.normal(0.0, 0.12))
            out[n, :, k] = gaussian(_NM - at, width)
        near = np.array([[0.0, 1.0, 0.3], [1.0, 0.0, 1.0], [0.3, 1.0, 0.0]])  # red and blue hardly leak into each other
        leak = np.eye(3) + rng.uniform(0.0, 0.14, (3, 3)) * near
        cut = 1.0 / (1.0 + np.exp((_NM - rng.uniform(650.0, 685.0)) / 7.0))
        out[n] = (out[n] @ leak) * cut[:, None]
    return out


def _surfaces(rng: np.random.Generator, count: int = 60) -> Array:
    """Smooth reflectances (count, W) for which a maker would tune the colour matrix."""
    logit = rng.normal(-0.2, 0.8, (count, 1)) * np.ones_like(_NM)
    for _ in range(3):
        centre, width = rng.uniform(390.0, 710.0, (count, 1)), rng.uniform(30.0, 90.0, (count, 1))
        logit = logit + rng.normal(0.0, 1.5, (count, 1)) * gaussian(_NM - centre, width)
    return np.asarray(0.03 + 0.87 / (1.0 + np.exp(-logit)))


@cache
def copper_curves() -> TintCurves:
    """Copper's curves for ``SYSTEMS`` phones and lights."""
    return _curves(PEAK_NM, PEAK_SD_NM, WIDTH_PER_CM)


@cache
def nickel_curves() -> TintCurves:
    """Nickel's curves for the same phones and lights."""
    return _curves(NICKEL_NM, NICKEL_SD_NM, NICKEL_WIDTH_PER_CM)


def _curves(peak_nm: float, peak_sd_nm: float, width_per_cm: float) -> TintCurves:
    """Curves of one band, all from one fixed seed."""
    rng = np.random.default_rng(615)
    sensors, lamps = _sensors(rng, SYSTEMS), _lamps(rng, SYSTEMS)
    effective = _effective(rng, sensors, lamps)
    peak = rng.normal(peak_nm, peak_sd_nm, SYSTEMS)
    width = width_per_cm * np.exp(rng.normal(0.0, WIDTH_SD, SYSTEMS))
    shape = band(_NM, peak, width)
    through = 10.0 ** (-2.0 * shape[:, None, :] * _A_HIGH[None, :, None])  # two passages
    ratio = np.maximum(through @ effective, 0.0)  # (S, G, 3)
    gamma = TONE_SLOPE * np.exp(rng.normal(0.0, TONE_SD, SYSTEMS))
    ratio = ratio ** gamma[:, None, None]
    slope = -2.0 * np.log(10.0) * np.einsum("sw,swk->sk", shape, effective) * gamma[:, None]
    below = np.exp(slope[:, None, :] * _A_LOW[None, :, None])
    return TintCurves(np.concatenate([_A_LOW, _A_HIGH]), np.concatenate([below, ratio], axis=1), slope)


def _effective(rng: np.random.Generator, sensors: Array, lamps: Array) -> Array:
    """Weights (S, W, 3) over the spectrum of each linear channel of the picture, each summing to 1."""
    surfaces = _surfaces(rng)
    daylight = 0.00035 * (_NM - 560.0) * -1.0 + 1.0  # nearly equal energy with daylight's lean to the blue
    target = (surfaces * daylight) @ observer(_NM)
    target = target / (daylight @ observer(_NM)) * WHITE_D50 @ np.linalg.inv(RGB_TO_XYZ).T
    out = np.empty_like(sensors)
    for n in range(len(sensors)):
        saturation = rng.uniform(0.95, 1.25)
        vivid = target.mean(axis=1, keepdims=True) + saturation * (target - target.mean(axis=1, keepdims=True))
        # Makers tune for daylight and lamp light and blend: the matrix suits a light between the lamp and daylight.
        tuned = lamps[n] / lamps[n].mean() * 0.5 + daylight * 0.5
        raw = (surfaces * tuned) @ sensors[n] / (tuned @ sensors[n])
        matrix = np.linalg.lstsq(raw, vivid, rcond=None)[0].T + rng.normal(0.0, 0.02, (3, 3))
        matrix = matrix / matrix.sum(axis=1, keepdims=True)
        lit = lamps[n][:, None] * sensors[n]
        out[n] = lit / lit.sum(axis=0) @ matrix.T
    return out
