"""How well a pale share is known: scatter of the grains over the area, doubt of mixed pixels, and the 95 % interval."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincinv, ndtri

from stripread.tuned import tuned

Mask = NDArray[np.bool_]

_TUNED = tuned("stripread.solid")
FALSE_PALE = _TUNED.number("false_pale")
MIXED = _TUNED.pair("mixed_pixel")
EDGE_SD = _TUNED.number("edge_sd")
SPECK_SD = _TUNED.number("speck_sd")
BLOCKS_MM = (1.5, 3.0, 5.0)


def mixed_doubt(share: NDArray[np.float32], level_doubt: float) -> float:
    """Standard deviation of the mean share of pixels (n,) from what the mixed ones may be off.

    level_doubt: of the pale level, relative.
    """
    mixed = float(share[(share > MIXED[0]) & (share < MIXED[1])].sum())
    specks = min(mixed / max(float(share.sum()), 1e-6), 1.0)
    return mixed / max(share.size, 1) * float(np.hypot(level_doubt, EDGE_SD + (SPECK_SD - EDGE_SD) * specks))


def scatter(share: NDArray[np.float32], mask: Mask, px_per_mm: float) -> float:
    """Variance of the mean of ``share`` (h, w) inside ``mask``, the area being a sample of its batch.

    The variance of block means, at block sizes from below to above the grains', is the variance of the mean times the
    number of blocks. Blocks smaller than a grain are not independent and give too little; few large ones are uncertain.
    The mean over the sizes stands; the largest of such uncertain numbers would be half as much again.
    """
    found: list[float] = []
    for size_mm in BLOCKS_MM:
        size = max(2, round(size_mm * px_per_mm))
        h, w = (mask.shape[0] // size) * size, (mask.shape[1] // size) * size
        if h == 0 or w == 0:
            continue
        weight = mask[:h, :w].reshape(h // size, size, w // size, size).sum(axis=(1, 3)).astype(np.float64)
        total = (share * mask)[:h, :w].reshape(h // size, size, w // size, size).sum(axis=(1, 3))
        full = weight > 0.5 * size * size
        count = int(full.sum())
        if count < 6:
            continue
        means = total[full] / weight[full]
        # The scatter of a few blocks is itself uncertain: a little more, as Student's t has it.
        found.append(float(np.var(means, ddof=1)) / count * (1.0 + 2.0 / count))
    return float(np.mean(found)) if found else 0.0


def share_interval(pale: float, sd: float) -> tuple[float, float]:
    """95 % interval of a share read with this standard deviation.

    The share is a sum of grains: near nothing its distribution is a gamma with as many grains as the variance says; far
    from it a normal one. What texture may feign comes on top where little is pale.
    """
    reach = float(ndtri(0.975))
    feigned = FALSE_PALE * max(0.0, 1.0 - 4.0 * pale)
    sd = max(float(np.hypot(sd, feigned)), 1e-5)
    if pale > 0.3:
        return max(pale - reach * sd, 0.0), min(pale + reach * sd, 1.0)
    if pale <= reach * feigned:  # may be nothing at all
        return 0.0, pale + reach * sd
    shape = (pale / sd) ** 2
    low, high = (float(gammaincinv(shape, q)) * pale / shape for q in (0.025, 0.975))
    return low, min(high, 1.0)
