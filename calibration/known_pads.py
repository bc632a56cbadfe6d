"""One photo of a strip at a known pH: what every fit starts from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stripread.ph.phones.taken import UNKNOWN, Taken

Array = NDArray[np.float64]


@dataclass(frozen=True)
class KnownPads:
    """Pads of one photo, corrected to CIELAB, with the pH that the liquid had.

    lab (P, 3) and cov (3P, 3P): CIELAB relative to the card. ph and ph_sd: pH and its standard deviation; photos of one
    pH are taken to be of one liquid, so that they share its error. photo_sha256, photo_name: which photo. of_phone (3P,
    3P): the part of ``cov`` that phone and light bring; taken: by which phone and in what light, where that is known.
    """

    lab: Array
    cov: Array
    ph: float
    ph_sd: float
    photo_sha256: str
    photo_name: str
    of_phone: Array | None = None
    taken: Taken = UNKNOWN


def pad_count(known: list[KnownPads]) -> int:
    """Number of pads P, the same in all photos."""
    return int(known[0].lab.shape[0])


def points(known: list[KnownPads]) -> list[float]:
    """The different pH values, rising."""
    return sorted({k.ph for k in known})
