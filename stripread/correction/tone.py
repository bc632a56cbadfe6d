"""The phone's tone curve: encoded values to linear light, as a small correction of the sRGB curve.

``log light = log srgb_decode(v) + sum_j a_j b_j(v)``, one curve for the three channels (phones apply it after their
colour matrix). The basis holds a change of gamma, an S (contrast), lifted shadows and a shoulder; the coefficients are
fitted to the neutral ramp together with light and colour in ``fit``.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stripread.colour import srgb_decode
from stripread.tuned import tuned

Array = NDArray[np.float64]

_TUNED = tuned("stripread.correction")
PRIOR_SD = np.array(_TUNED.numbers("tone_prior_sd"))
N_TONE = len(PRIOR_SD)
_DARKEST = 2.0 / 255.0


def log_light(encoded: Array) -> Array:
    """Logarithm of linear light under the plain sRGB curve, any shape; values below 2/255 are held there."""
    return np.log(srgb_decode(np.maximum(encoded, _DARKEST)))


def basis(encoded: Array) -> Array:
    """Basis functions at encoded values 0 to 1 of any shape (...): shape (..., N_TONE). All vanish at 1."""
    v = np.clip(encoded, _DARKEST, 1.0)
    left = 1.0 - v
    return np.stack(
        [
            np.log(v),
            np.sin(2.0 * np.pi * v) / (2.0 * np.pi * v),
            left * v,
            left**2 * v,
            np.where(v > 0.7, (v - 0.7) ** 2 * left * 30.0, 0.0),  # the shoulder, highlights only
        ],
        axis=-1,
    )
