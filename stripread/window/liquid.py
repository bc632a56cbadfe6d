"""A vessel's liquid as a number: its mean in linear light, the errors of that mean, and how even its colour is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from stripread.card.patches import NOISE_FLOOR
from stripread.colour import srgb_decode
from stripread.errors import Refused
from stripread.reasons import because

if TYPE_CHECKING:
    from stripread.card.view import CardView
    from stripread.window.vials import Vial
from stripread.tuned import tuned
from stripread.words import _

Array = NDArray[np.float64]

BLOCK_MM = 1.5
_TUNED = tuned("stripread.window")
INDEPENDENT = _TUNED.number("liquid_independent")
MOST_PIXELS = 5000


@dataclass(frozen=True)
class LiquidMean:
    """Mean of one vial: encoded (3,), linear (3,), variance of the mean (3,), texture covariance (3, 3) of it, spread
    of the blocks' colour (natural log) beyond noise."""

    encoded: Array
    linear: Array
    noise: Array
    texture: Array
    blocks: float


def liquid_mean(view: CardView, vial: Vial) -> LiquidMean:
    """Average the liquid of one vessel. Outliers (dust, rests of edges) beyond 4 robust standard deviations go.

    Raises
    ------
    Refused
        ``no_vial`` when no pixel of the vessel can be used.
    """
    pixels, places = vial.pixels(view), vial.places_mm(view)
    if not len(pixels):
        raise Refused(because("no_vial", _("left or right")))
    stride = max(1, len(pixels) // MOST_PIXELS)
    if stride % 2 == 0:  # an even stride would walk down columns and see half of them
        stride += 1
    pixels, places = pixels[::stride], places[::stride]
    linear = srgb_decode(pixels)
    centre = np.median(linear, axis=0)
    spread = 1.4826 * np.median(np.abs(linear - centre), axis=0) + 1e-4
    kept: NDArray[np.bool_] = np.asarray((np.abs(linear - centre) < 4.0 * spread).all(axis=1))
    if not kept.any():
        kept = np.ones(len(linear), dtype=bool)
    linear, places, encoded = linear[kept], places[kept], pixels[kept].mean(axis=0)
    slope = 2.2 * linear.mean(axis=0) / np.maximum(encoded, 0.03)
    noise = (slope * NOISE_FLOOR) ** 2
    cell = np.floor(places / BLOCK_MM).astype(int)
    cell -= cell.min(axis=0)
    which = cell[:, 0] * (cell[:, 1].max() + 1) + cell[:, 1]
    size = np.bincount(which)
    full = size >= max(3.0, 0.3 * float(np.median(size[size > 0])))
    means = np.stack([np.bincount(which, linear[:, k]) for k in range(3)], axis=1)[full] / size[full, None]
    texture, blocks = np.zeros((3, 3)), 0.0
    if len(means) >= 6:
        logs = np.log(np.maximum(means, 1e-3))
        blocks = float(np.sqrt(max(np.var(logs[:, 0] - logs[:, 2]) - _noise_of(linear, which, size, full), 0.0)))
        texture = np.cov(means.T) / len(means) * (1.0 + 3.0 / len(means))  # pixel noise is in it
    else:
        noise = noise + linear.var(axis=0) / max(4.0, INDEPENDENT * kept.sum())
    return LiquidMean(encoded, linear.mean(axis=0), noise, texture, blocks)


def _noise_of(linear: Array, which: NDArray[np.intp], size: NDArray[np.intp], full: NDArray[np.bool_]) -> float:
    """Variance of a block's ln of red over blue from its own pixels' scatter alone."""
    tint = np.log(np.maximum(linear[:, 0], 1e-3)) - np.log(np.maximum(linear[:, 2], 1e-3))
    mean = np.bincount(which, tint) / np.maximum(size, 1)
    spread = np.bincount(which, (tint - mean[which]) ** 2)[full] / np.maximum(size[full] - 1, 1)
    return float(np.mean(spread / np.maximum(INDEPENDENT * size[full], 1.0)))


def excess(sample: LiquidMean, blank: LiquidMean) -> float:
    """How much more the colour varies inside the sample than inside the blank, natural log of red over blue."""
    return float(np.sqrt(max(sample.blocks**2 - 1.5 * blank.blocks**2, 0.0)))
