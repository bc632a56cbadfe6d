"""From pad colours to pH: a posterior on a fine grid, its interval, its other modes, and the misfit to the curve.

The pads' colours are normal around the curve with covariance: measurement + lot + curve. Tails are Student's t,
since no covariance estimated from one photo is exact. The prior is flat over the strip kind's range.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from stripread.results import LEVEL, Alternative

if TYPE_CHECKING:
    from stripread.kind import StripKind
    from stripread.strip.pads import PadSet
from stripread.tuned import tuned

Array = NDArray[np.float64]

COARSE, FINE = 0.05, 0.005  # grid steps in pH: the likelihood is computed on the first, interpolated on the second
_TUNED = tuned("stripread.ph")
FREEDOM = _TUNED.number("ph_freedom")
MODE_WEIGHT = _TUNED.number("mode_weight")
SHOULDER = float(np.exp(-0.5 * 1.959964**2))  # what a normal's density has fallen to at its 95 % ends
WIDE = _TUNED.number("wide")
WIDE_SHOULDER = _TUNED.number("wide_shoulder")


class Curve(Protocol):
    """What inference needs of a profile: the forward model and its doubts."""

    @property
    def kind(self) -> StripKind:
        """The strip kind the curve is of."""

    def curve(self, ph: Array) -> Array:
        """Expected pad colours at pH (N,): (N, P, 3)."""

    def curve_cov(self, ph: Array) -> Array:
        """Covariance of the curve itself at each pH: (N, 3P, 3P)."""

    def lot_cov(self, ph: Array) -> Array:
        """Covariance of a strip about the curve at each pH: (N, 3P, 3P)."""


@dataclass(frozen=True)
class PhEstimate:
    """Posterior over pH. grid (N,), density (N,) integrating to 1; misfit is 1 when the colours sit on the curve."""

    grid: Array
    density: Array
    ph: float
    interval: tuple[float, float]
    alternatives: tuple[Alternative, ...]
    misfit: float
    budget: dict[str, float]


def infer_ph(pads: PadSet, profile: Curve) -> PhEstimate:
    """Posterior, value, interval, alternatives, misfit and error budget of one set of pads."""
    grid = coarse_grid(profile.kind.range)
    mean = profile.curve(grid).reshape(len(grid), -1)
    curve_cov, lot_cov = profile.curve_cov(grid), profile.lot_cov(grid)
    causes = dict(pads.parts, strip_lot=lot_cov, calibration=curve_cov)
    return posterior_of(profile.kind.range, mean, pads.lab.reshape(-1), pads.cov[None] + curve_cov + lot_cov, causes)


def coarse_grid(ph_range: tuple[float, float]) -> Array:
    """The pH (N,) at which the likelihood is computed."""
    low, high = ph_range
    return np.arange(low, high + COARSE / 2, COARSE)


def posterior_of(
    ph_range: tuple[float, float], mean: Array, seen: Array, S: Array, causes: dict[str, Array]
) -> PhEstimate:
    """Posterior over pH of colours that are normal about their expectation, but for Student's tails.

    Parameters
    ----------
    ph_range
        The strip's, over which the prior is flat.
    mean, S
        What is expected at each pH of ``coarse_grid``, CIELAB of all pads in a row (N, 3P), and its covariance
        (N, 3P, 3P).
    seen
        What was seen (3P,).
    causes
        Covariances that add up to S, by cause: (3P, 3P), or (N, 3P, 3P) where they change with pH.
    """
    grid, (low, high) = coarse_grid(ph_range), ph_range
    r = seen[None] - mean
    L = np.linalg.cholesky(S)
    whitened = np.linalg.solve(L, r[:, :, None])[:, :, 0]
    q = (whitened**2).sum(axis=1)
    log_det = 2.0 * np.log(np.diagonal(L, axis1=1, axis2=2)).sum(axis=1)
    size = r.shape[1]
    log_like = -0.5 * log_det - 0.5 * (FREEDOM + size) * np.log1p(q / FREEDOM)
    fine = np.linspace(low, high, round((high - low) / FINE) + 1)
    log_fine = CubicSpline(grid, log_like)(fine)
    density = np.exp(log_fine - log_fine.max())
    density /= density.sum() * (fine[1] - fine[0])
    mass = density * (fine[1] - fine[0])
    modes = _modes(fine, mass)
    start, stop = modes[0]
    ph = _quantile(fine[start:stop], mass[start:stop], 0.5)
    interval = with_shoulders(fine, density, _shortest(fine, mass, LEVEL))
    alternatives = tuple(
        Alternative(
            _quantile(fine[a:b], mass[a:b], 0.5), _shortest(fine[a:b], mass[a:b], LEVEL), float(mass[a:b].sum())
        )
        for a, b in modes[1:]
        if mass[a:b].sum() >= MODE_WEIGHT
    )
    at = int(np.argmin(np.abs(grid - ph)))
    freedom = max(1.0, size - 1.0)
    misfit = float(np.sqrt(q.min() / freedom))
    causes = {name: cov[at] if cov.ndim == 3 else cov for name, cov in causes.items()}
    variance = float((mass * (fine - (mass * fine).sum()) ** 2).sum())
    budget = _budget(mean, S, at, causes, variance)
    return PhEstimate(fine, density, ph, interval, alternatives, misfit, budget)


def with_shoulders(grid: Array, density: Array, interval: tuple[float, float]) -> tuple[float, float]:
    """The interval, to where the density (N,) has fallen as far as a normal's has at its ends.

    Where the curve is flat the posterior is a plateau, and its shortest interval leaves off a part that is as likely as
    the rest: truths there would be missed far more often than one in twenty. A likelihood-ratio interval (W. Q. Meeker
    and L. A. Escobar, The American Statistician 49, 48, 1995; from memory) misses no part of a plateau; for a normal
    both are the same. One wider than ``WIDE`` reaches farther, to ``WIDE_SHOULDER`` of the highest density: its value
    is a guess within it, so its ends are all that it says.
    """
    reached = _reaching(grid, density, interval, SHOULDER)
    if reached[1] - reached[0] > WIDE:
        reached = _reaching(grid, density, reached, WIDE_SHOULDER)
    return reached


def _reaching(grid: Array, density: Array, interval: tuple[float, float], share: float) -> tuple[float, float]:
    """The interval, each end moved outwards as long as the density is at least that share of its highest."""
    low, high = interval
    beyond = density < share * density.max()
    below, above = np.flatnonzero(beyond & (grid <= low)), np.flatnonzero(beyond & (grid >= high))
    start = grid[min(below[-1] + 1, len(grid) - 1)] if len(below) else grid[0]
    stop = grid[max(above[0] - 1, 0)] if len(above) else grid[-1]
    return float(min(low, start)), float(max(high, stop))


def _modes(grid: Array, mass: Array) -> list[tuple[int, int]]:
    """Slices of the grid that hold one hump each, heaviest first; humps split where the density falls under 20 %."""
    before, after = np.concatenate([[-1.0], mass[:-1]]), np.concatenate([mass[1:], [-1.0]])
    peaks = np.flatnonzero((mass > before) & (mass >= after) & (mass > 1e-6 * mass.max()))
    cuts = [0]
    for left, right in pairwise(int(p) for p in peaks):
        valley = left + int(np.argmin(mass[left : right + 1]))
        if mass[valley] < 0.2 * min(mass[left], mass[right]):
            cuts.append(valley)
    cuts.append(len(grid))
    return sorted(pairwise(cuts), key=lambda s: -float(mass[s[0] : s[1]].sum()))


def _quantile(grid: Array, mass: Array, share: float) -> float:
    cumulative = np.cumsum(mass) - 0.5 * mass
    return float(np.interp(share * mass.sum(), cumulative, grid))


def _shortest(grid: Array, mass: Array, level: float) -> tuple[float, float]:
    """Shortest interval that holds ``level`` of the mass."""
    cumulative = np.concatenate([[0.0], np.cumsum(mass)]) / mass.sum()
    edges = np.concatenate([[grid[0]], 0.5 * (grid[1:] + grid[:-1]), [grid[-1]]])
    starts = edges[cumulative <= 1.0 - level + 1e-12]
    ends = np.interp(cumulative[: len(starts)] + level, cumulative, edges)
    best = int(np.argmin(ends - starts))
    return float(starts[best]), float(ends[best])


def _budget(mean: Array, S: Array, at: int, causes: dict[str, Array], variance: float) -> dict[str, float]:
    """Variance in pH by cause. They add up to the posterior's variance.

    Linear at the value found: with slope J of the curve, pH = w.r with w = S^-1 J / (J' S^-1 J); a cause with
    covariance C gives w' C w. What the straight line misses (the curve bends, several values fit, the tails) is
    ``curve_shape``. Where the line says more than the posterior (the range ends, the curve turns away on both sides),
    the parts are scaled down together.
    """
    low, high = max(0, at - 1), min(len(mean) - 1, at + 1)
    slope = (mean[high] - mean[low]) / ((high - low) * COARSE)
    w = np.linalg.solve(S[at], slope)
    w = w / max(1e-12, float(slope @ w))
    parts = {name: float(w @ C @ w) for name, C in causes.items()}
    # Tone, light and correction come from one fit and are correlated: each takes its share of what they are together.
    cross = parts.pop("cross", 0.0)
    fitted = [name for name in ("tone", "light", "correction") if name in parts]
    alone = sum(parts[name] for name in fitted)
    if alone > 0:
        for name in fitted:
            parts[name] *= max(0.0, alone + cross) / alone
    linear = sum(parts.values())
    shrink = min(1.0, variance / linear) if linear > 0 else 1.0
    parts = {name: value * shrink for name, value in parts.items()}
    parts["curve_shape"] = max(0.0, variance - linear)
    return parts
