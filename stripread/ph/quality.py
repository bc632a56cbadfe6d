"""What a curve rests on and how well it fits: the photos behind it, and how those left out are read with it."""

from __future__ import annotations

from dataclasses import dataclass
from math import comb

import numpy as np

from stripread.ph.phones.taken import UNKNOWN, Taken
from stripread.tuned import tuned

_TUNED = tuned("stripread.ph")
USUAL_CHI_SQUARE = _TUNED.number("usual_chi_square")
USUAL_WORTH = _TUNED.number("usual_worth")
MOST_WIDENED = _TUNED.number("most_widened")
LEVEL = 0.95  # of the intervals
CHANCE = 1e-3  # of blaming a profile whose intervals hold what they promise


@dataclass(frozen=True)
class KnownPhoto:
    """One photo that the profile was made from. ``ph`` is NaN for one of the maker's chart; taken: by which phone."""

    file: str
    sha256: str
    ph: float
    ph_sd: float
    taken: Taken = UNKNOWN


@dataclass(frozen=True)
class Quality:
    """How well the curve fits, every error in pH found by leaving that buffer's photos out of the fit.

    loo_rms, loo_mean, loo_worst: root mean square, mean absolute and largest error; NaN where there is none.
    loo_coverage: share of left-out photos inside their 95 % interval. chi_square: of the photos about the curve, per
    degree of freedom, before the scatter was widened. points, photos: buffers, and photos of them. exchanged: pairs
    of liquids whose labels look exchanged.
    """

    points: int
    photos: int
    loo_rms: float = float("nan")
    loo_mean: float = float("nan")
    loo_worst: float = float("nan")
    loo_coverage: float = float("nan")
    chi_square: float = float("nan")
    exchanged: int = 0

    @property
    def contradicted(self) -> bool:
        """Whether its photos speak against each other: labels mixed up, most likely.

        Two liquids look exchanged, or buffers left out missed their 95 % intervals too often to be chance: by the
        binomial distribution, one honest profile in a thousand at most. ``loo_coverage`` is a share of photos, but
        those of one buffer err alike, so it is counted as if of one photo a buffer.
        """
        if self.exchanged or np.isnan(self.loo_coverage):
            return self.exchanged > 0
        inside = round(self.loo_coverage * self.points)
        chance = sum(comb(self.points, n) * LEVEL**n * (1 - LEVEL) ** (self.points - n) for n in range(inside + 1))
        return bool(chance < CHANCE)

    @property
    def doubt_scale(self) -> float:
        """Factor on all covariances, 1 or more, where photos left out miss the curve by more than their doubts allow.

        The Birge ratio (R. T. Birge, Phys. Rev. 40, 207, 1932; from memory), drawn to what is usual.
        """
        if np.isnan(self.chi_square):
            return 1.0
        drawn = (USUAL_WORTH * USUAL_CHI_SQUARE + self.points * self.chi_square) / (USUAL_WORTH + self.points)
        return float(np.clip(drawn / USUAL_CHI_SQUARE, 1.0, MOST_WIDENED))
