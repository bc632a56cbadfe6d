"""Whether the card can be read at all as it is lit: too dark, burnt out or blurred, and why no card was found.

A limit that turns a reading away must be one that a good photo does not reach: a needless refusal sends somebody back
to the bench.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stripread.errors import Refused
from stripread.reasons import Reason, because
from stripread.tuned import tuned
from stripread.words import _

if TYPE_CHECKING:
    from stripread.card.layout import CardLayout
    from stripread.card.patches import PatchSamples
    from stripread.photo import Photo

_TUNED = tuned("stripread.card")
DARK_PICTURE = _TUNED.number("dark_picture")
BURNT_LEVEL, BURNT_PICTURE = 250.0, 0.4
BLURRED_STEP = 0.25  # of the contrast, between neighbours at 400 pixels across: sharp edges of a card are steeper
BURNT_SHARE = _TUNED.number("burnt_share")
MIN_CLEAN_PATCHES = 12  # of the card; with fewer, light and colour can't be told apart
WHITE_TOO_DARK = _TUNED.number("white_too_dark")


def why_no_card(photo: Photo, found: Reason) -> Reason:
    """A better reason than "no card" when the picture itself shows one: too dark, burnt out or blurred."""
    if found.code != "no_card":
        return found
    grey = photo.pixels[::4, ::4].mean(axis=2)
    if np.quantile(grey, 0.98) < DARK_PICTURE:
        return because("too_dark")
    if np.mean(grey > BURNT_LEVEL) > BURNT_PICTURE:
        return because("blown_out")
    step = max(1, max(photo.pixels.shape[:2]) // 800)
    small = photo.pixels[::step, ::step].mean(axis=2)
    small = (
        small[:-1:2, :-1:2] + small[1::2, :-1:2] + small[:-1:2, 1::2] + small[1::2, 1::2]
    ) / 4.0  # noise is no edge
    contrast = np.quantile(small, 0.99) - np.quantile(small, 0.01)
    # A shaken picture keeps the edges along its motion: judge the softer of the two directions.
    steepest = min(np.quantile(np.abs(np.diff(small, axis=axis)), 0.9999) for axis in (0, 1))
    if steepest < BLURRED_STEP * contrast:
        return because("blurred")
    return found


def check_exposure(samples: PatchSamples, layout: CardLayout) -> None:
    """Refuse a photo whose card is burnt out, too dark or hidden.

    Raises
    ------
    Refused
        ``blown_out``, ``too_dark``, ``card_cut_off`` or ``patches_unusable``.
    """
    sent = layout.nominal_srgb()
    light = (sent.min(axis=1) > 0.75) & samples.usable
    if samples.usable.sum() < 24 or light.sum() < 4:
        raise Refused(
            because(
                "card_cut_off",
                _(
                    "{usable} of {n_usable} patches are clear",
                    usable=int(samples.usable.sum()),
                    n_usable=len(samples.usable),
                ),
            )
        )
    if np.mean(samples.clipped[light].max(axis=1) > 0.3) > BURNT_SHARE:
        raise Refused(because("blown_out"))
    if np.median(samples.rgb[light].max(axis=1)) < WHITE_TOO_DARK:
        raise Refused(because("too_dark"))
    check_patches(samples)


def check_patches(samples: PatchSamples) -> None:
    """Refuse a photo in which too few patches are left to correct the colours by.

    Raises
    ------
    Refused
        ``patches_unusable``.
    """
    n = int(samples.clean.sum())
    if n < MIN_CLEAN_PATCHES:
        raise Refused(
            because(
                "patches_unusable",
                _(
                    "{n} of {n_usable}, at least {min_clean_patches} are needed",
                    n=n,
                    n_usable=len(samples.usable),
                    min_clean_patches=MIN_CLEAN_PATCHES,
                ),
            )
        )
