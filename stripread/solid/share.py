"""How well a pale share is known: scatter of the grains over the area, doubt of mixed pixels, and the 95 % interval."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.fft import next_fast_len
from scipy.special import gammaincinv, ndtri

from stripread.tuned import tuned

Mask = NDArray[np.bool_]

_TUNED = tuned("stripread.solid")
FALSE_PALE = _TUNED.number("false_pale")
MIXED = _TUNED.pair("mixed_pixel")
EDGE_SD = _TUNED.number("edge_sd")
SPECK_SD = _TUNED.number("speck_sd")
BLOCKS_MM = (1.5, 3.0, 5.0)
REACH_MM = 6.0  # no grain reaches farther


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


def integral_range(share: NDArray[np.float32], mask: Mask, px_per_mm: float) -> float:
    """Variance of the mean of ``share`` (h, w) inside ``mask``, from how far grains reach: variance times the area
    over which it stays alike, over the area seen. For few like grains: how many are seen, times their size squared.

    The autocovariance by distance, summed over the plane up to where it first vanishes (what geostatistics calls the
    integral range; from memory). Coarse grains fill blocks whole, so that blocks alone tell too little of them. Of n
    grains the scatter is itself uncertain, as that of n blocks is.
    """
    rows, columns = np.nonzero(mask)
    if len(rows) < 2:
        return 0.0
    box = np.s_[rows.min() : rows.max() + 1, columns.min() : columns.max() + 1]
    inside = mask[box].astype(np.float64)
    left = np.where(mask[box], share[box] - float(share[mask].mean()), 0.0)
    reach = max(2, round(REACH_MM * px_per_mm))
    size = [int(next_fast_len(side + reach)) for side in inside.shape]

    def correlated(values: NDArray[np.float64]) -> NDArray[np.float64]:
        power = np.abs(np.fft.rfft2(values, size)) ** 2
        return np.asarray(np.fft.irfft2(power, size))

    ys, xs = (np.fft.fftfreq(n, 1.0 / n) for n in size)
    ring = np.rint(np.hypot(ys[:, None], xs[None, :])).astype(int)
    near = ring <= reach
    pairs = np.bincount(ring[near], correlated(inside)[near])
    alike = np.bincount(ring[near], correlated(left)[near]) / np.maximum(pairs, 1.0)
    cells = np.bincount(ring[near])
    ends = np.flatnonzero(alike <= 0.0)
    end = int(ends[0]) if len(ends) else len(alike)
    found = float((alike[:end] * cells[:end]).sum()) / len(rows)
    mean = float(np.clip(share[mask].mean(), 0.0, 1.0))
    rarer = max(min(mean, 1.0 - mean), 1e-3)  # grains in the dark, or gaps between grains
    return found * (1.0 + 2.0 * min(found / rarer**2, 1.0))


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
