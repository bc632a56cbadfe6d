"""Is a photo by a phone and in a light that calibrated the profile? Then its doubt is that phone's own.

What phone and light bring to a reading's doubt is a stranger's: how far apart phones and lights lie. A profile whose
own photos are by the phone that reads has that phone's error in its curve; what is left is how far the phone's own
photos lie about it, which they show (``KnownPhone.share``, found while calibrating). That holds in lights like theirs
only. A light is taken to be one of theirs where its signature is no further from them than fit and their own spread
explain (Hotelling's T-squared for one more of them; from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.stats import f as fisher

from stripread.ph.phones.taken import LIGHT, Taken
from stripread.tuned import tuned

Array = NDArray[np.float64]
Known = Literal["phone and light", "phone", "no"]

_TUNED = tuned("stripread.ph.phones")
OTHER_LIGHT = _TUNED.number("other_light")
FIT_WORTH = _TUNED.number("fit_worth")


@dataclass(frozen=True)
class KnownPhone:
    """A phone that took several of a profile's photos.

    phone: its name; photos: how many; share: what is left of the variance that a stranger's phone and light bring;
    curve: what is then left of the variance of the curve, whose photos are as much surer.
    """

    phone: str
    photos: int
    share: float
    curve: float = 1.0


@dataclass(frozen=True)
class Match:
    """Whether phone and light of a photo are known; ``share``, ``curve``: as the phone's, 1 where they are not."""

    known: Known
    share: float = 1.0
    curve: float = 1.0


STRANGER = Match("no")


def match(taken: Taken, light_cov: Array, phones: Sequence[KnownPhone], photos: Sequence[Taken]) -> Match:
    """Look a photo's phone and light up among those of a profile.

    Parameters
    ----------
    taken, light_cov
        Phone and light of the photo, and the covariance (6, 6) of its light's signature by its own fit.
    phones, photos
        The profile's: the phones that it knows, and by which phone and in what light each of its photos was taken.
    """
    one = next((phone for phone in phones if phone.phone == taken.phone), None)
    if one is None or taken.phone is None:
        return STRANGER
    lights = np.array([photo.light for photo in photos if photo.phone == taken.phone and len(photo.light) == LIGHT])
    if len(taken.light) != LIGHT or len(lights) == 0 or not like_them(np.array(taken.light), light_cov, lights):
        return Match("phone")
    return Match("phone and light", one.share, one.curve)


def like_them(light: Array, light_cov: Array, lights: Array) -> bool:
    """Whether a light (6,) may be one more of ``lights`` (n, 6), by their spread and by what a fit scatters.

    Few lights tell little of their spread: the fit's own covariance (6, 6) counts as ``FIT_WORTH`` photos.
    """
    count = len(lights)
    off = light - lights.mean(axis=0)
    about = lights - lights.mean(axis=0)
    freedom = count - 1 + FIT_WORTH
    spread = (about.T @ about + FIT_WORTH * light_cov) / freedom
    square = float(off @ np.linalg.solve(spread, off)) / (1.0 + 1.0 / count)
    size = len(off)
    left = freedom - size + 1
    return float(fisher.sf(square * left / (freedom * size), size, left)) >= OTHER_LIGHT
