"""How far the card's inks have faded since its values were taken, from the photo's own fit.

Light takes dyes away unevenly, magenta first (common practice, no source), and leaves black: coloured patches then grow
lighter against the greys, each in the channel that its ink absorbs. Another lamp or a phone's taste for colour makes
all of them, or the yellow ones, look fainter; that is no fading. How the fit's residuals would change is
found by fitting again with that ink's patches made lighter; so whatever the fit itself would explain away (tone, light,
colours) is not counted.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from stripread.card.layout import layout
from stripread.correction.fit import ColourFix, fix_colour
from stripread.correction.same_card import clear_patches, patch_cov, patch_errors
from stripread.tuned import tuned

if TYPE_CHECKING:
    from stripread.card.patches import PatchSamples
    from stripread.card.values import CardValues

Array = NDArray[np.float64]

_TUNED = tuned("stripread.correction")
FADED = _TUNED.number("faded")
STEP = 0.1  # natural log of light, at which the response of the fit is taken


def coloured_ink() -> Array:
    """Cyan, magenta and yellow that each patch asks for beyond its grey, 0 to 1, in layout order, shape (N, 3)."""
    asked = 1.0 - layout().nominal_srgb()
    return np.asarray(asked - asked.min(axis=1, keepdims=True))


def ink_lost(fix: ColourFix, samples: PatchSamples, values: CardValues) -> Array:
    """How much lighter full cyan, magenta and yellow have become in red, green and blue, natural log, shape (3,).

    Generalised least squares (Aitken 1936, from memory) with the covariance that ``card_misfit`` judges by.

    Raises
    ------
    Refused
        When a fit with changed values fails.
    """
    good = clear_patches(fix, samples)
    now = patch_errors(fix, samples, values, good)
    ink = coloured_ink()
    responses = []
    for channel in range(3):
        lighter = np.zeros_like(values.rgb)
        lighter[:, channel] = STEP * ink[:, channel]
        faded = replace(values, rgb=values.rgb * np.exp(lighter))
        responses.append((patch_errors(fix_colour(samples, faded), samples, faded, good) - now) / STEP)
    inverse = np.linalg.inv(patch_cov(values, good))
    change = np.stack(responses)
    weighted = np.einsum("ij,kjc->kic", inverse, change)
    slope = -np.einsum("kic,ic->k", weighted, now)
    curvature = np.einsum("kic,lic->kl", weighted, change)
    return np.asarray(np.linalg.solve(curvature, slope))


def has_faded(lost: Array) -> bool:
    """Whether magenta, of ``lost`` (3,), has lost so much as only fading takes, and more than cyan and yellow."""
    cyan, magenta, yellow = (float(v) for v in lost)
    return magenta > max(FADED, cyan, yellow)
