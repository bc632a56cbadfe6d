"""Whether the card in the photo is the one that the profile was made with.

After the photo's own fit of tone, light and colours the patches still miss the profile's values a little. Two things do
that to one and the same card: noise and print texture (each patch on its own), and another lamp or sensor, which sees
inks differently; that error is mostly smooth in colour. Another printer has other dot gain, black and inks, and a faded
card loses one ink faster than the next: patches that look alike then move apart. So each patch is predicted from the
others by a process smooth in colour, and what it misses the prediction by is counted, in the standard deviations that
this needs.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from stripread.colour import rgb_to_lab
from stripread.correction.fit import MODEL_SD, ColourFix
from stripread.correction.residual import LENGTH_LAB
from stripread.gauss import gaussian_between
from stripread.tuned import tuned

if TYPE_CHECKING:
    from stripread.card.patches import PatchSamples
    from stripread.card.values import CardValues

Array = NDArray[np.float64]

_TUNED = tuned("stripread.correction")
SMOOTH_SD = _TUNED.number("smooth_sd")
COVERED = _TUNED.number("covered")
KEPT = _TUNED.number("kept")
TYPICAL = _TUNED.number("typical")
FEWEST = 30


def card_misfit(fix: ColourFix, samples: PatchSamples, values: CardValues) -> float:
    """How far the patches are from the profile's, about 1 where it is the same card.

    Leave-one-out residuals of a Gaussian process in closed form (Rasmussen and Williams, Gaussian Processes for Machine
    Learning, 2006, section 5.4.2). NaN where too few patches are clear, or the card has no colours.
    """
    good = clear_patches(fix, samples)
    if fix.monochrome or good.sum() < FEWEST:
        return float("nan")
    error = patch_errors(fix, samples, values, good)
    inverse = np.linalg.inv(patch_cov(values, good))
    square = ((inverse @ error) ** 2).mean(axis=1) / np.diag(inverse)
    best = np.sort(square)[: int(KEPT * len(square))]
    return float(np.sqrt(best.mean())) / TYPICAL


def clear_patches(fix: ColourFix, samples: PatchSamples) -> NDArray[np.bool_]:
    """Patches that are neither clipped nor covered, shape (N,)."""
    return np.asarray(samples.usable & (samples.clipped.max(axis=1) < 0.02) & (fix.weights > COVERED))


def patch_errors(fix: ColourFix, samples: PatchSamples, values: CardValues, good: NDArray[np.bool_]) -> Array:
    """What the fit misses the card's values by, in cube roots of linear RGB, shape (n, 3)."""
    fitted = fix.to_rgb(samples.rgb[good], samples.centre_mm[good])
    return np.asarray(np.cbrt(fitted) - np.cbrt(values.rgb[good]))


def patch_cov(values: CardValues, good: NDArray[np.bool_]) -> Array:
    """Covariance of those errors for the profile's own card: smooth in colour, and each patch's own, shape (n, n)."""
    lab = rgb_to_lab(values.rgb[good])
    own = np.diag(values.sd[good] ** 2 + MODEL_SD**2)
    return np.asarray(SMOOTH_SD**2 * gaussian_between(lab, lab, LENGTH_LAB) + own)
