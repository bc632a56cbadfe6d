"""Colour arithmetic that knows no card and no photo: sRGB curve, linear RGB, XYZ D50, CIELAB.

One D50 throughout: summed over the spectrum (ASTM E308), X, Y, Z = 0.96422, 1, 0.82521. Linear RGB here means
Rec. 709 primaries scaled so that (1, 1, 1) is that white.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

WHITE_D50: Array = np.array([0.96422, 1.0, 0.82521])
# sRGB (IEC 61966-2-1, D65) to XYZ, adapted to D50 by Bradford; rows then scaled so that RGB (1, 1, 1) gives WHITE_D50
# to the last digit.
_SRGB_TO_XYZ_D50 = np.array(
    [[0.4360747, 0.3850649, 0.1430804], [0.2225045, 0.7168786, 0.0606169], [0.0139322, 0.0971045, 0.7141733]]
)
RGB_TO_XYZ: Array = _SRGB_TO_XYZ_D50 * (WHITE_D50 / _SRGB_TO_XYZ_D50.sum(axis=1))[:, None]
XYZ_TO_RGB: Array = np.asarray(np.linalg.inv(RGB_TO_XYZ), dtype=np.float64)

_EPS, _KAPPA = 216.0 / 24389.0, 24389.0 / 27.0  # CIE 15: the junction of the two branches, exact


def srgb_decode(encoded: Any) -> Array:
    """sRGB values 0 to 1, any shape, to linear light (IEC 61966-2-1)."""
    v = np.asarray(encoded, dtype=np.float64)
    return np.where(v <= 0.04045, v / 12.92, ((np.maximum(v, 0.04045) + 0.055) / 1.055) ** 2.4)


def srgb_encode(linear: Any) -> Array:
    """Linear light 0 to 1, any shape, to sRGB values, clipped to 0 to 1 (IEC 61966-2-1)."""
    x = np.clip(np.asarray(linear, dtype=np.float64), 0.0, 1.0)
    return np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.maximum(x, 0.0031308) ** (1 / 2.4) - 0.055)


def xyz_to_lab(xyz: Any) -> Array:
    """XYZ relative to D50, shape (..., 3), to CIELAB (CIE 15)."""
    t = np.asarray(xyz, dtype=np.float64) / WHITE_D50
    f = np.where(t > _EPS, np.cbrt(t), (_KAPPA * t + 16.0) / 116.0)
    fx, fy, fz = f[..., 0], f[..., 1], f[..., 2]
    return np.stack([116.0 * fy - 16.0, 500.0 * (fx - fy), 200.0 * (fy - fz)], axis=-1)


def lab_to_xyz(lab: Any) -> Array:
    """CIELAB D50, shape (..., 3), to XYZ (CIE 15)."""
    lab = np.asarray(lab, dtype=np.float64)
    fy = (lab[..., 0] + 16.0) / 116.0
    f = np.stack([fy + lab[..., 1] / 500.0, fy, fy - lab[..., 2] / 200.0], axis=-1)
    t = np.where(f > 6.0 / 29.0, f**3, (116.0 * f - 16.0) / _KAPPA)
    return t * WHITE_D50


def rgb_to_lab(rgb: Any) -> Array:
    """Linear RGB (1, 1, 1 is the D50 white), shape (..., 3), to CIELAB."""
    return xyz_to_lab(np.asarray(rgb, dtype=np.float64) @ RGB_TO_XYZ.T)


def lab_to_rgb(lab: Any) -> Array:
    """CIELAB to linear RGB, shape (..., 3); out-of-gamut values are left outside 0 to 1."""
    return lab_to_xyz(lab) @ XYZ_TO_RGB.T


def lab_jacobian(rgb: Any) -> Array:
    """Derivative of CIELAB by linear RGB, shape (..., 3, 3): row L, a, b; column R, G, B."""
    xyz = np.asarray(rgb, dtype=np.float64) @ RGB_TO_XYZ.T
    t = xyz / WHITE_D50
    slope = np.where(t > _EPS, np.maximum(t, _EPS) ** (-2.0 / 3.0) / 3.0, _KAPPA / 116.0) / WHITE_D50  # df/dX, (..., 3)
    rows = np.array([[0.0, 116.0, 0.0], [500.0, -500.0, 0.0], [0.0, 200.0, -200.0]])
    return (rows * slope[..., None, :]) @ RGB_TO_XYZ


def delta_e(lab1: Any, lab2: Any) -> Array:
    """CIEDE2000 between two arrays of CIELAB, shape (..., 3) (Sharma, Wu, Dalal 2005, by scikit-image)."""
    from skimage.color import deltaE_ciede2000  # noqa: PLC0415 - heavy, and not needed for a reading

    return np.asarray(deltaE_ciede2000(np.asarray(lab1), np.asarray(lab2)))  # type: ignore[no-untyped-call]
