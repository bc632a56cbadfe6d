"""The light field over the card: log light in each channel as a quadratic of the place.

A lamp and a window at the two sides of a card give a field that a quadratic follows within a percent over 15 cm; what
it cannot follow (a shadow edge) shows in the residuals and is reported.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stripread.card.layout import SIZE_MM
from stripread.tuned import tuned

Array = NDArray[np.float64]

N_LIGHT = 6
_TUNED = tuned("stripread.correction")
PRIOR_SD = np.array(_TUNED.numbers("light_prior_sd"))


def basis(points_mm: Array) -> Array:
    """Quadratic basis at card points (N, 2) mm: shape (N, 6). x and y are scaled to -1..1 over the card."""
    x = points_mm[:, 0] / (SIZE_MM[0] / 2) - 1.0
    y = points_mm[:, 1] / (SIZE_MM[1] / 2) - 1.0
    return np.stack([np.ones_like(x), x, y, x * y, x**2, y**2], axis=1)
