"""What the card's patches are taken to be: nominal, estimated from photos of this card, or measured by the user.

Values are linear RGB relative to the card's own paper white (see ``colour``). Nobody knows what a home printer made of
the sRGB it was sent; nominal values are therefore only a coordinate system with wide errors, and every profile carries
the values estimated for its own card, so that calibration and reading use the same system.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from stripread.card.layout import layout
from stripread.colour import srgb_decode
from stripread.tuned import tuned

Array = NDArray[np.float64]
Source = Literal["nominal", "estimated", "measured"]

_TUNED = tuned("stripread.card")
PRINTED_BLACK = _TUNED.number("printed_black")
# Doubt of a nominal patch, as a standard deviation of cube-root RGB (1 L* is 1/116 of it): paper white is what
# everything is relative to, greys follow an unknown dot gain, colours an unknown ink set.
NOMINAL_SD = dict(zip(("white", "grey", "colour", "scale"), _TUNED.numbers("nominal_sd"), strict=True))


@dataclass(frozen=True)
class CardValues:
    """Reference value of every patch in the layout's order.

    rgb (N, 3): linear RGB relative to paper white. sd (N,): standard deviation of its cube root, per channel.
    """

    rgb: Array
    sd: Array
    source: Source


@cache
def nominal_values() -> CardValues:
    """The card as it was sent to the printer, with the doubt of an unknown printer."""
    card = layout()
    rgb = PRINTED_BLACK + (1.0 - PRINTED_BLACK) * srgb_decode(card.nominal_srgb())
    sd = np.array([NOMINAL_SD[p.role] for p in card.patches])
    return CardValues(rgb, sd, "nominal")
