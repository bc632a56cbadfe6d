"""Paper and dye as light sees them: three reflectance channels, and Kubelka-Munk's ratio of absorption to scattering.

The channels are the sharpened cones of the Bradford transform relative to the D50 white: positive for every real
surface colour, which linear sRGB is not. On thick paper K/S = (1 - R)^2 / (2 R), and dyes add up in K/S, not in R
(Kubelka and Munk 1931). It holds for one wavelength; a channel is broad, so it holds here roughly.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stripread.colour import WHITE_D50, lab_to_xyz, xyz_to_lab

Array = NDArray[np.float64]

# Bradford cone responses (Lam 1985, as in ICC.1 annex E), rows then scaled so that the white is (1, 1, 1).
_BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
_TO_CHANNELS: Array = _BRADFORD / (_BRADFORD @ WHITE_D50)[:, None]
_TO_XYZ: Array = np.asarray(np.linalg.inv(_TO_CHANNELS), dtype=np.float64)

DARKEST, LIGHTEST = 0.004, 0.985  # reflectances outside this are held at its ends: K/S would run away
_EPS, _KAPPA = 216.0 / 24389.0, 24389.0 / 27.0


def lab_to_channels(lab: ArrayLike) -> Array:
    """CIELAB D50 (..., 3) to channel reflectances (..., 3); impossible colours are left outside 0 to 1."""
    return lab_to_xyz(lab) @ _TO_CHANNELS.T


def channels_to_lab(channels: ArrayLike) -> Array:
    """Channel reflectances (..., 3) to CIELAB D50 (..., 3)."""
    return xyz_to_lab(np.asarray(channels, dtype=np.float64) @ _TO_XYZ.T)


def lab_by_channels(channels: ArrayLike) -> Array:
    """Derivative of CIELAB by the channels, (..., 3, 3): row L, a, b; column channel."""
    t = np.asarray(channels, dtype=np.float64) @ _TO_XYZ.T / WHITE_D50
    slope = np.where(t > _EPS, np.maximum(t, _EPS) ** (-2.0 / 3.0) / 3.0, _KAPPA / 116.0) / WHITE_D50
    rows = np.array([[0.0, 116.0, 0.0], [500.0, -500.0, 0.0], [0.0, 200.0, -200.0]])
    return np.asarray((rows * slope[..., None, :]) @ _TO_XYZ)


def absorption(reflectance: ArrayLike) -> Array:
    """K/S of a reflectance 0 to 1, any shape; held at both ends."""
    r = np.clip(np.asarray(reflectance, dtype=np.float64), DARKEST, LIGHTEST)
    return np.asarray((1.0 - r) ** 2 / (2.0 * r))


def reflectance(k_over_s: ArrayLike) -> Array:
    """Reflectance of K/S >= 0, any shape: the inverse of ``absorption``."""
    k = np.asarray(k_over_s, dtype=np.float64)
    return np.asarray(1.0 + k - np.sqrt(k * k + 2.0 * k))


def reflectance_slope(k_over_s: ArrayLike) -> Array:
    """Derivative of ``reflectance`` by K/S, any shape (K/S > 0)."""
    k = np.maximum(np.asarray(k_over_s, dtype=np.float64), 1e-9)
    return np.asarray(1.0 - (k + 1.0) / np.sqrt(k * k + 2.0 * k))


def lab_by_light(lab: ArrayLike, paper: float = 0.9) -> Array:
    """How CIELAB (..., 3) moves when light of the paper comes through the dye, per unit of its share: (..., 3).

    paper: the bare paper's reflectance, towards which each channel goes; what is lighter than that stays.
    """
    channels = lab_to_channels(lab)
    moved = np.maximum(paper - channels, 0.0)
    return np.asarray(np.einsum("...ij,...j->...i", lab_by_channels(np.clip(channels, DARKEST, LIGHTEST)), moved))


def lab_by_load(lab: ArrayLike, paper: float = 0.9) -> Array:
    """How CIELAB (..., 3) moves when the paper takes up more dye, per unit of relative load: (..., 3).

    paper: the bare paper's reflectance; what is darker than that is dye.
    """
    channels = lab_to_channels(lab)
    k = absorption(channels)
    dye = np.maximum(k - absorption(paper), 0.0)
    moved = reflectance_slope(k) * dye
    return np.asarray(np.einsum("...ij,...j->...i", lab_by_channels(np.clip(channels, DARKEST, LIGHTEST)), moved))
