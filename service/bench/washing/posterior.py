"""Bayesian update of the retained share and the first acid from pH readings, and when the wash will be done.

Model. Residue after n washes: x_n = c0 [(1 - b) r^n + b s^n] 10^d_n. Retained share r and start c0 are what the
readings tell; b is the part that bleeds slowly out of clots, paper and powder, with its own share s > r (two well-mixed
compartments in exchange have exactly such a two-term solution). d_n is a random walk: no two washes are poured alike.
Grid over (r, c0, b, s) and the water's hypotheses; d_n by a scalar Kalman filter in every cell, its reading equation
averaged over three points because pH jumps where the water's alkalinity is used up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from service.bench.chemistry.water import Array
from service.bench.washing.hypotheses import Hypothesis, look_up

JITTER = 0.075  # sd of log10 of one wash's share: about 17 %, common practice, no source
OUTLIER = 0.03  # share of readings that are simply wrong (strip from another bottle, drop of another liquid)
LN_SHARE = np.linspace(np.log(0.015), np.log(0.8), 37)
LOG_START = np.arange(-3.0, 1.01, 0.2)
# b, s, prior. What clots give off goes into the whole filled-up volume: b is about (pore share) x r, some hundredths.
BLEED = ((0.0, 0.5, 0.5), (0.005, 0.5, 0.23), (0.005, 0.7, 0.07), (0.03, 0.5, 0.15), (0.03, 0.7, 0.05))
MOST_WASHES = 40
LIGHTEST = 9.0  # nats below the heaviest cell: lighter ones (1 in 8,000) are dropped on the way


@dataclass(frozen=True)
class Prior:
    """Before any reading: median and log-sd of the retained share; log10 and sd of the first residue, mol/L."""

    share: float = 0.15
    share_ln_sd: float = 0.6
    log_start: float = -0.3
    log_start_sd: float = 0.7


@dataclass(frozen=True)
class Cells:
    """The heavy cells after the readings, pruned. All arrays (C,), weights sum to 1."""

    weight: Array
    share: Array
    log_start: Array
    bleed: Array
    slow: Array
    mean: Array  # of d at the last reading
    var: Array
    hypothesis: npt.NDArray[np.intp]
    surprise: float  # mean negative log evidence a reading, nats; large where nothing fits


def log_residue(share: Array, log_start: Array, bleed: Array, slow: Array, n: float | Array) -> Array:
    """log10 of the residue (mol/L) after ``n`` washes without the random walk; cells (C,) or any shape."""
    slower = np.maximum(slow, share)
    return np.asarray(log_start + np.log10((1.0 - bleed) * share**n + bleed * slower**n))


def _grid(prior: Prior) -> tuple[Array, Array, Array, Array, Array]:
    """Cells (C,) share, log10 start, bleed, slow share, and log prior."""
    r, c, k = np.meshgrid(LN_SHARE, LOG_START, np.arange(len(BLEED)), indexing="ij")
    b, s, w = (np.asarray([row[j] for row in BLEED]) for j in range(3))
    kind = k.ravel()
    log_p = (
        -0.5 * ((r - np.log(prior.share)) / prior.share_ln_sd) ** 2
        - 0.5 * ((c - prior.log_start) / prior.log_start_sd) ** 2
    ).ravel() + np.log(w[kind])
    log_p -= np.log(np.exp(log_p).sum())
    return np.exp(r).ravel(), c.ravel(), b[kind], s[kind], log_p


def update(
    readings: list[tuple[float, float, float, int]],
    waters: tuple[Hypothesis, ...],
    prior: Prior,
    blank: tuple[float, float] | None = None,
) -> Cells:
    """Weigh every cell by the readings (wash number, pH, sd of pH, bound), in the order of the washes.

    ``bound`` is 0 for a value, -1 where the strip's range ended and the pH is at most this, 1 for at least.
    ``blank`` is the rinse water's own pH and its sd, read the same way as the samples.
    """
    share, start, bleed, slow, log_prior = _grid(prior)
    tables = np.stack([water.table for water in waters])
    log_water = np.log([water.weight for water in waters])
    if blank is not None:
        miss = blank[0] - np.asarray([water.own_ph for water in waters])
        log_water = log_water + np.log(_density(miss, blank[1] ** 2 + 0.05**2))
    cell = np.tile(np.arange(len(share)), len(waters))
    hypothesis = np.repeat(np.arange(len(waters)), len(share))
    log_w = log_prior[cell] + log_water[hypothesis]
    sub_cell = (LOG_START[1] - LOG_START[0]) ** 2 / 12.0  # the truth lies anywhere inside its cell
    mean, var = np.zeros(len(cell)), np.full(len(cell), sub_cell)
    before = 0.0
    for n, ph, sd, bound in sorted(readings):
        var = var + JITTER**2 * max(0.0, n - before)
        before = n
        if len(cell) > len(share):  # the same cell under several waters: its powers are taken once
            log_x = log_residue(share, start, bleed, slow, n)[cell]
        else:
            log_x = log_residue(share[cell], start[cell], bleed[cell], slow[cell], n)
        log_w, mean, var = _step((log_w, mean, var), log_x, (tables, hypothesis), (ph, sd, bound))
        keep = np.nonzero(log_w > log_w.max() - LIGHTEST)[0]
        log_w, mean, var, cell, hypothesis = log_w[keep], mean[keep], var[keep], cell[keep], hypothesis[keep]
    top = float(log_w.max())
    weight = np.exp(log_w - top)
    surprise = -(top + float(np.log(weight.sum()))) / max(1, len(readings))
    order = np.argsort(-weight)
    order = order[: 1 + int(np.searchsorted(np.cumsum(weight[order]), 0.999 * weight.sum()))]
    cell = cell[order]
    return Cells(
        weight[order] / weight[order].sum(),
        share[cell],
        start[cell],
        bleed[cell],
        slow[cell],
        mean[order],
        var[order],
        hypothesis[order],
        surprise,
    )


def _density(miss: Array | float, var: Array | float) -> Array:
    """Density of a reading that misses by ``miss``: a normal, and a thin flat floor for mistakes."""
    normal = np.exp(-0.5 * np.asarray(miss) ** 2 / var) / np.sqrt(2.0 * np.pi * np.asarray(var))
    return np.asarray((1.0 - OUTLIER) * normal + OUTLIER / 14.0)


def _step(
    state: tuple[Array, Array, Array],
    log_x: Array,
    tables: tuple[Array, npt.NDArray[np.intp]],
    reading: tuple[float, float, int],
) -> tuple[Array, Array, Array]:
    """One reading: predict, weigh, correct the state (log weight, mean and variance of d; all (C,))."""
    log_w, mean, var = state
    ph, sd, bound = reading
    centre, reach = log_x + mean, np.sqrt(3.0 * var)
    low, mid, high = (look_up(*tables, place) for place in (centre - reach, centre, centre + reach))
    expected = (low + 4.0 * mid + high) / 6.0
    spread = ((low - expected) ** 2 + 4.0 * (mid - expected) ** 2 + (high - expected) ** 2) / 6.0
    cross = reach * (high - low) / 6.0
    total = spread + sd**2
    if bound:  # a bound weighs the cells; it says too little to move them
        chance = (1.0 - OUTLIER) * ndtr(bound * (expected - ph) / np.sqrt(total)) + OUTLIER / 2.0
        return log_w + np.log(chance), mean, var
    chance = _density(ph - expected, total)
    trust = 1.0 - OUTLIER / 14.0 / chance  # a reading taken for a mistake moves nothing
    gain = trust * cross / total
    return log_w + np.log(chance), mean + gain * (ph - expected), np.maximum(var - gain * cross, 1e-6)
