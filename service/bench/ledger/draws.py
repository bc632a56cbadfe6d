"""Fixed draws: each uncertain quantity by its cause, so that whatever rests on one cause errs together.

Why draws and not covariances written out: what is poured is a share of what is there, fines range over a factor of a
hundred, and no vessel holds less than nothing; products, skew and a floor at 0 come out right by drawing. The draws of
a cause are seeded by its name alone: the same log gives the same figures for ever, and one more note moves none of the
others.
"""

from __future__ import annotations

import math
import zlib
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from service.bench.chemistry.reagents import Span

N = 2000  # draws: the ends of a 95 % range are then good to some 4 % of its width
Z90 = 1.6449  # ends of a loss's own range stand for 5 and 95 % of what may be
Z95 = 1.9600
MOST = 2.6  # deviations beyond which a law of two halves is not believed: it has no more than 1 in 200 there
Array = NDArray[np.float64]


@lru_cache(maxsize=512)
def normal(cause: str) -> Array:
    """(N,) standard normal draws of one cause, with mean 0 and standard deviation 1 exactly."""
    drawn = np.random.default_rng(zlib.crc32(cause.encode())).standard_normal(N)
    return np.asarray((drawn - drawn.mean()) / drawn.std())


def of_span(span: Span, cause: str) -> Array:
    """(N,) draws of a quantity with this range (low, value, high), never below 0.

    The value is the median, the ends its 5 and 95 %. A range over more than a factor of three above 0 is drawn by its
    logarithm, each side on its own; any other by a normal law of two halves.
    """
    low, value, high = span
    z = np.clip(normal(cause), -MOST, MOST)
    if low > 0.0 and high > 3.0 * low:
        up, down = math.log(high / value) / Z90, math.log(value / low) / Z90
        return np.asarray(value * np.exp(np.where(z > 0.0, up, down) * z))
    up, down = (high - value) / Z90, (value - low) / Z90
    return np.asarray(np.maximum(0.0, value + np.where(z > 0.0, up, down) * z))


def between(ends: tuple[float, float], cause: str) -> Array:
    """(N,) draws of which only the ends are known: evenly between them."""
    low, high = min(ends), max(ends)
    return np.asarray(low + (high - low) * ndtr(normal(cause)))


def range_of(drawn: Array) -> Span:
    """95 % range and median of draws (N,), none below 0."""
    low, value, high = np.quantile(drawn, (0.025, 0.5, 0.975))
    return max(0.0, float(low)), max(0.0, float(value)), max(0.0, float(high))
