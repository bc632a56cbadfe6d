"""Spectra on one grid (400-700 nm, 10 nm): light sources, observer, and the true CIELAB of a reflectance.

Light sources and the observer are CIE tables as shipped by colour-science; nothing of the reader is used here, so that
a mistake in the reader's colour arithmetic can't hide.
"""

from __future__ import annotations

from functools import cache

import colour
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

WAVELENGTHS = np.arange(400.0, 701.0, 10.0)
N_BANDS = len(WAVELENGTHS)

# Share of near-ultraviolet that makes an optical brightener glow, daylight = 1 (orders of magnitude, from memory)
ULTRAVIOLET = {"D": 1.0, "A": 0.15, "FL": 0.35, "LED-V": 0.5, "LED": 0.03, "narrow": 0.02}

# The same for measured lamps, by the first word that is in their name
LAMP_ULTRAVIOLET = (("LED", 0.03), ("PHOS", 0.03), ("candescent", 0.15), ("Soft White", 0.15), ("", 0.35))


def binned(wavelengths: Array, values: Array) -> Array:
    """A finer table averaged over triangles 20 nm wide, so that narrow lines keep their energy, shape (31,)."""
    fine = np.arange(380.0, 721.0, 1.0)
    curve = np.interp(fine, wavelengths, values, left=0.0, right=0.0)
    weight = np.clip(1.0 - np.abs(fine[None] - WAVELENGTHS[:, None]) / 10.0, 0.0, None)
    binned: Array = weight @ curve / weight.sum(axis=1)
    return binned


@cache
def observer() -> Array:
    """CIE 1931 2 degree colour matching functions, shape (31, 3)."""
    table = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    return np.stack([binned(table.wavelengths, table.values[:, c]) for c in range(3)], axis=1)


def gaussian(centre: float, width: float) -> Array:
    """A band of unit height; ``width`` is its standard deviation in nm."""
    band: Array = np.exp(-0.5 * ((WAVELENGTHS - centre) / width) ** 2)
    return band


def _narrow(seed: int) -> Array:
    """Three narrow light-emitting diodes: the worst colour rendering that a lamp sold for a room can have."""
    rng = np.random.default_rng([seed, 77])
    centres = np.array([455.0, 525.0, 630.0]) + rng.normal(0.0, 6.0, 3)
    heights = np.array([1.0, 0.8, 1.1]) * np.exp(rng.normal(0.0, 0.25, 3))
    return np.asarray(sum(h * gaussian(c, w) for h, c, w in zip(heights, centres, (10.0, 15.0, 9.0), strict=True)))


@cache
def source(name: str) -> Array:
    """Power of a light source over the grid, scaled to unit luminance, shape (31,).

    ``name`` is a CIE illuminant (D65, A, FL11, LED-B3, ...), ``planck:2700`` (a glowing body), ``narrow:7`` (three
    narrow diodes, with a seed) or ``lamp:NAME`` (a light source of colour-science's tables).
    """
    family, _, number = name.partition(":")
    if family == "planck":
        metres = WAVELENGTHS * 1e-9
        power = metres**-5 / (np.exp(1.438777e-2 / (metres * float(number))) - 1.0)
    elif family == "narrow":
        power = _narrow(int(number or 0))
    else:
        table = colour.SDS_LIGHT_SOURCES[number] if family == "lamp" else colour.SDS_ILLUMINANTS[name]
        power = binned(table.wavelengths, table.values)
    scaled: Array = power / (power @ observer()[:, 1])
    return scaled


def ultraviolet(name: str) -> float:
    """How strongly a source makes a brightener glow, daylight = 1."""
    family = name.partition(":")[0]
    if family == "planck":
        return 0.15
    if family == "lamp":
        number = name.partition(":")[2]
        return next(share for word, share in LAMP_ULTRAVIOLET if word in number)
    keys = [k for k in ULTRAVIOLET if family.startswith(k)]
    return ULTRAVIOLET[max(keys, key=len)] if keys else 0.3


def true_xyz(reflectance: Array) -> Array:
    """XYZ under D50 relative to the perfect diffuser (so white is 0.96422, 1, 0.82521), shape (..., 3)."""
    weights = source("D50")[:, None] * observer()
    white = np.array([0.96422, 1.0, 0.82521])
    xyz: Array = np.asarray(reflectance) @ weights / weights.sum(axis=0) * white
    return xyz


def true_lab(reflectance: Array) -> Array:
    """CIELAB (D50, 2 degrees) of reflectances of shape (..., 31); the formula of CIE 15."""
    ratio = true_xyz(reflectance) / np.array([0.96422, 1.0, 0.82521])
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1)


def smooth_reflectances(seed: int, count: int) -> Array:
    """Made-up smooth reflectances of coloured things, shape (count, 31)."""
    rng = np.random.default_rng([seed, 31])
    logit = rng.normal(-0.3, 0.9, (count, 1)) * np.ones(N_BANDS)
    for _ in range(3):
        centre, width = rng.uniform(390, 710, (count, 1)), rng.uniform(25, 90, (count, 1))
        logit = logit + rng.normal(0.0, 1.6, (count, 1)) * np.exp(-0.5 * ((WAVELENGTHS - centre) / width) ** 2)
    reflectance: Array = 0.03 + 0.87 / (1.0 + np.exp(-logit))
    return reflectance
