"""How well a pH could be read at all: the Cramér-Rao bound from strip-to-strip and lot variation."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from tests.scenes.layers import Array
from tests.scenes.spectra import true_lab
from tests.scenes.strips import StripState


def _labs(kind: str, ph: float, lot_seed: int = 0, strip_seed: int = 0) -> Array:
    return true_lab(StripState(kind, ph, lot_seed, strip_seed).pad_spectra()).ravel()


@lru_cache(maxsize=1024)
def strip_bound(kind: str, ph: float, lots: bool = True, draws: int = 80, noise_lab: float = 0.2) -> float:
    """Smallest standard deviation of pH for a reader that knows the mean curve exactly.

    Pads' colours vary from strip to strip and, with ``lots``, from lot to lot; ``noise_lab`` is what measuring adds to
    each of L, a and b. The bound is (J' C^-1 J)^(-1/2) with J = dLab/dpH and C the colours' covariance.
    """
    slope = (_labs(kind, ph + 0.02) - _labs(kind, ph - 0.02)) / 0.04
    seen = np.array([_labs(kind, ph, n if lots else 0, n) for n in range(draws)])
    cov = np.cov(seen.T) + np.eye(len(slope)) * noise_lab**2
    return float(1.0 / np.sqrt(slope @ np.linalg.solve(cov, slope)))
