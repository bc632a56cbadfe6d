"""Photos of one liquid whose pads have two colours: one of them is of another liquid, or of a strip of another sort.

It needs no curve, so it speaks from the second photo of a liquid on, where ``calibration.strangers.mixed_up`` must wait
for enough liquids. Two strips of one bottle in one liquid differ by the scatter of photos and by what each photo's own
stages doubt. The squared difference in that covariance (Mahalanobis), a colour channel on average, is 1 or less where
both are right. What is odd among three or more is told by the middle of the others; of two nothing tells which it is.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from calibration.known_pads import KnownPads, pad_count
from calibration.process import PRIOR, Sizes
from calibration.strangers.suspicion import Suspicion
from stripread.tuned import tuned

Array = NDArray[np.float64]

_TUNED = tuned("calibration.strangers")
APART = _TUNED.number("one_liquid_apart")
CHANCE = 0.95  # that one of them is a stranger, where they differ so much; the study gives more


def apart(known: list[KnownPads]) -> list[Suspicion]:
    """Liquids whose photos do not go together, by rising pH; empty where all do."""
    out = []
    for ph in sorted({k.ph for k in known}):
        here = [i for i, k in enumerate(known) if k.ph == ph]
        odd = _odd_ones(here, known)
        if odd:
            out.append(Suspicion("apart", odd, (ph,) * len(odd), (), CHANCE))
    return out


def _odd_ones(here: list[int], known: list[KnownPads]) -> tuple[int, ...]:
    """Of the photos of a liquid those that differ from most of the others; all of them where that is nobody."""
    differs = {i: [j for j in here if j != i and difference(known[i], known[j]) > APART] for i in here}
    if not any(differs.values()):
        return ()
    odd = tuple(i for i in here if len(differs[i]) > (len(here) - 1) / 2)
    return odd if odd and len(odd) < len(here) else tuple(here)


def difference(one: KnownPads, other: KnownPads) -> float:
    """Mean square difference of two photos' pads, a channel, in the covariance expected of it."""
    miss = (one.lab - other.lab).reshape(-1)
    scatter = Sizes(PRIOR["common"][0], PRIOR["own"][0], 1.0).scatter().cov(pad_count([one]))
    return float(miss @ np.linalg.solve(2.0 * scatter + one.cov + other.cov, miss)) / len(miss)
