"""By which phone, and in what light, a photo was taken: as far as the photo itself tells."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from stripread.correction.fit import ColourFix

Array = NDArray[np.float64]
LIGHT = 6  # numbers of a light's signature


@dataclass(frozen=True)
class Taken:
    """By which phone and lens (EXIF), None where the file names none, and the signature of the light, () where none.

    The signature is how this phone in this light mixes the card's red, green and blue (``ColourFix.mixing``).
    """

    phone: str | None = None
    light: tuple[float, ...] = ()


UNKNOWN = Taken()


def taken_by(phone: str | None, fix: ColourFix) -> Taken:
    """Phone and light of a photo whose colours were fitted."""
    return Taken(phone, tuple(round(float(v), 5) for v in fix.mixing()[0]))
