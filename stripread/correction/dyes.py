"""What a card of inks can't tell about a dye: the doubts of a corrected pad that no patch shows.

A dye absorbs with bands of its own. What the sensor's red, green and blue make of them differs from what they make of
an ink that looks the same, the more the deeper the dye absorbs in that channel: the logarithm of the reflectance is off
by about a constant part of a power of itself. Red is off most: there the sensors' filters and the lamps' spectra differ
most. Pads of one strip are seen by one sensor in one light, so they err alike. The sizes were chosen by the likelihood
of pads of one strip under many phones and lamps, widened a little for lamps and dyes that were not among them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stripread.colour import lab_jacobian
from stripread.tuned import tuned

Array = NDArray[np.float64]

_TUNED = tuned("stripread.correction")
CHANNEL_SD = np.array(_TUNED.numbers("channel_sd"))
CHANNEL_POWER = _TUNED.number("channel_power")
CHANNEL_SHARED = _TUNED.number("channel_shared")
DEEPEST = _TUNED.number("dye_deepest")
DARK_SD = _TUNED.number("dark_sd")
DARK_CLIPPED = _TUNED.number("dark_clipped")
MOVED_SD = _TUNED.number("moved_sd")
MOVED_SHARED = _TUNED.number("moved_shared")


def moved_cov(shift: Array) -> Array:
    """Doubt of shifts (P, 3) taken from ``dye_field`` as CIELAB covariance (3P, 3P), per channel."""
    count = len(shift)
    own = np.diag(shift.reshape(-1) ** 2)
    alike = np.kron(np.ones((count, count)), np.eye(3)) * np.outer(shift.reshape(-1), shift.reshape(-1))
    return np.asarray(MOVED_SD**2 * (MOVED_SHARED * alike + (1.0 - MOVED_SHARED) * own))


def channel_cov(reference: Array) -> Array:
    """Doubt of dyes of linear colours (P, 3) as CIELAB covariance (3P, 3P), shared between pads."""
    count = len(reference)
    level = np.clip(reference, 0.004, 1.0)
    deep = np.minimum(-np.log(level), DEEPEST) ** CHANNEL_POWER
    ways = lab_jacobian(reference) * (CHANNEL_SD * level * deep)[:, None, :]  # (P, lab, channel)
    stacked = ways.reshape(3 * count, 3)
    shared = CHANNEL_SHARED * (stacked @ stacked.T)
    for p in range(count):
        block = slice(3 * p, 3 * p + 3)
        shared[block, block] += (1.0 - CHANNEL_SHARED) * (ways[p] @ ways[p].T)
    return np.asarray(shared)


def dark_cov(reference: Array, encoded: Array) -> Array:
    """Doubt of very dark channels as CIELAB covariance (3P, 3P), block diagonal.

    Near zero a little stray light, a phone's black point or its clipped gamut is all there is: DARK_SD in linear light,
    more where the phone wrote (nearly) zero. CIELAB's slope there turns it into many units of b*.
    """
    count = len(reference)
    sd = DARK_SD * (1.0 + DARK_CLIPPED * np.clip(1.0 - encoded / 0.06, 0.0, 1.0))
    J = lab_jacobian(reference)  # (P, 3, 3)
    out = np.zeros((3 * count, 3 * count))
    for p in range(count):
        block = slice(3 * p, 3 * p + 3)
        out[block, block] = (J[p] * sd[p] ** 2) @ J[p].T
    return out
