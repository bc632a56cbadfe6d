"""What one strip in one photo brings to a joint inference: its pad colours, and their doubt kept apart by cause.

A cause is kept as a square root S (3P, 3P) of its covariance: two observations whose errors of that cause are
correlated by r have the cross covariance r S S', which stays a covariance however many observations there are.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from stripread.correction.fit import ColourFix
    from stripread.strip.pads import PadSamples, PadSet

Array = NDArray[np.float64]


@dataclass(frozen=True)
class StripObservation:
    """One strip in one photo.

    lab (P, 3); roots: cause -> (3P, 3P) square root of its covariance. Causes: noise, texture, tone, light, mixing
    (the phone's colours), foreign (what the card can't correct for a dye), fit (tone, light and mixing together, with
    their correlations).
    """

    photo: str
    sha256: str
    lab: Array
    roots: dict[str, Array]

    def cov(self, causes: tuple[str, ...]) -> Array:
        """Covariance (3P, 3P) of independent causes together."""
        return np.asarray(np.sum([self.roots[cause] @ self.roots[cause].T for cause in causes], axis=0))


def observe_strip(photo: str, sha256: str, pads: PadSet, samples: PadSamples, fix: ColourFix) -> StripObservation:
    """Gather one strip's observation from what the pipeline's stages came to."""
    foreign = pads.scale * pads.share * fix.left_over(samples.rgb, samples.at_mm, dye=True)[1]
    parts = dict(pads.parts, foreign=foreign, mixing=pads.parts["correction"] - foreign)
    parts["fit"] = parts["tone"] + parts["light"] + parts["mixing"] + parts["cross"]
    causes = ("noise", "texture", "tone", "light", "mixing", "foreign", "fit")
    return StripObservation(photo, sha256, pads.lab, {cause: square_root(parts[cause]) for cause in causes})


def square_root(cov: Array) -> Array:
    """Symmetric square root of a covariance (n, n); what rounding made negative is nothing."""
    values, vectors = np.linalg.eigh(0.5 * (cov + cov.T))
    return np.asarray((vectors * np.sqrt(np.maximum(values, 0.0))) @ vectors.T)


def fit_errors_shared(one: PadSamples, other: PadSamples, fix: ColourFix, scale: float) -> Array:
    """Cross covariance (3P, 3P) of two strips' errors that come from the one colour fit of their photo.

    Tone, light and mixing are the same parameters for both, so it is exact, however far their colours lie apart.

    Parameters
    ----------
    scale
        Factor that the pads' covariances were widened by.
    """
    rgb, at_mm = np.concatenate([one.rgb, other.rgb]), np.concatenate([one.at_mm, other.at_mm])
    _, cov, _ = fix.to_lab(rgb, at_mm, np.zeros_like(rgb))
    size = 3 * len(one.rgb)
    left = fix.left_over(rgb, at_mm, dye=True)[1]
    return np.asarray(scale * (cov - left)[:size, size:])
