"""Weighings of a drying solid fitted: a constant rate, then m(t) = m∞ + a·exp(-t/τ), with all that fits about as well.

The two periods are those of any textbook of drying: free water leaves at an even rate, bound water the slower the less
is left; at the turn the rates are the same (common practice, no source). Where the turn was before the first weighing
the exponential alone is left. Beside it stand laws that end sooner or later: a rate by a power of the water near one. A
long gap may have been a night with the oven off: it is tried as no, half and full drying time. All (τ, turn, power,
gaps) count by their likelihood; m∞ and a are solved for each by least squares.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
DRIFT = 0.05  # by which the rate of one stretch between weighings differs from the course; chosen, tests.drying_study
POWERS = (0.9, 0.95, 1.0, 1.05, 1.1, 1.15)  # of the water left, by which the falling rate goes; chosen, the same
MOST_WATER = 0.6  # share of water at the first weighing: a wet cake holds 0.2 to 0.5 (common practice, no source)
GAP_H = 5.0  # from this on a gap may have been a pause; chosen, tests.drying_study
GAPS = 2  # of them at most are tried: the longest
_PAUSES = (0.0, 0.5, 1.0)  # share of a gap in which it dried
_TAUS, _TURNS, _ROUNDS = 40, 20, 3
_NEAR = 12.0  # of chi² above the best: beyond it nothing counts
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(5)  # of a normal distribution


@dataclass(frozen=True)
class Fitted:
    """Everything that fits, as weighted cases, each array (k,).

    ``weight`` sums to 1; ``water`` g left at the last weighing, ``at_turn`` g when the rate began to fall; ``tau`` h;
    ``turn`` drying hours from the last weighing to the turn (below 0: past it); ``power`` of the falling rate;
    ``dried`` h of drying between first and last; ``misfit`` is the best case's chi² for each weighing more than three.
    """

    weight: Array
    water: Array
    at_turn: Array
    tau: Array
    turn: Array
    power: Array
    dried: Array
    misfit: float

    def hours_to(self, within_g: float) -> Array:
        """Drying hours from the last weighing until ``within_g`` of water is left, in each case, (k,)."""
        even = np.where(within_g < self.at_turn, self.turn, (self.water - within_g) * self.tau / self.at_turn)
        start = np.clip(self.water / self.at_turn, 1e-12, 1.0)
        end = np.minimum(start, np.clip(within_g / self.at_turn, 1e-12, 1.0))
        short = 1.0 - self.power
        law = np.where(short == 0.0, 1.0, short)
        falling = np.where(short == 0.0, np.log(start / end), (start**law - end**law) / law)
        return np.where(self.water <= within_g, 0.0, np.maximum(0.0, even) + self.tau * falling)


def fitted(hours: Array, grams: Array, sd: Array) -> Fitted:
    """Fit weighings; all arrays (n,), n >= 3: hours since the first (rising), g, standard deviation of each, g."""
    gaps = np.diff(hours)
    long = sorted(np.flatnonzero(gaps >= GAP_H), key=lambda place: -gaps[place])[:GAPS]
    cases: list[tuple[Array, ...]] = []
    for *shares, power in itertools.product(*[_PAUSES] * len(long), POWERS):
        drying = gaps.copy()
        drying[long] *= shares
        cases.append(_cases(_Course(np.concatenate([[0.0], np.cumsum(drying)]), grams, power), sd))
    chi2, spread, nodes, *columns = (np.concatenate(parts) for parts in zip(*cases, strict=True))
    deviance = chi2 + spread
    weight = np.exp(-0.5 * (deviance - deviance.min())) * nodes
    kept = weight > 1e-9 * weight.max()
    water, at_turn, tau, turn, power_of, dried = (column[kept] for column in columns)
    weight = weight[kept] / weight[kept].sum()
    return Fitted(weight, water, at_turn, tau, turn, power_of, dried, float(chi2.min()) / max(1, len(grams) - 3))


@dataclass(frozen=True)
class _Course:
    """Weighings on one time axis: drying hours ``t`` (n,), ``grams`` (n,), and the power of the falling rate."""

    t: Array
    grams: Array
    power: float


def _cases(course: _Course, sd: Array) -> tuple[Array, ...]:
    """chi², 2 Σ log spread, weight of the node, and the columns of ``Fitted``, of all cases of one course."""
    t, grams, power = course.t, course.grams, course.power
    span = max(float(t[-1]), 1e-3)
    taus, turns = np.geomspace(0.02 * span, 30.0 * span, _TAUS), np.linspace(0.0, 1.5 * span, _TURNS)
    spread = np.diag(sd)
    for _unused in range(_ROUNDS):  # ever finer about the best
        chi2, a, _a_sd, shape = _solved(taus, turns, course, spread)
        row, column = np.unravel_index(int(chi2.argmin()), chi2.shape)
        rate = a[row, column] / taus[row] * np.minimum(1.0, shape[row, column]) ** power
        spread = _spread(sd, t, rate)
        chi2 = _solved(taus, turns, course, spread)[0]
        near = chi2 <= chi2.min() + _NEAR
        rows, columns = np.flatnonzero(near.any(axis=1)), np.flatnonzero(near.any(axis=0))
        taus = np.geomspace(taus[max(0, rows[0] - 1)], taus[min(_TAUS - 1, rows[-1] + 1)], _TAUS)
        turns = np.linspace(turns[max(0, columns[0] - 1)], turns[min(_TURNS - 1, columns[-1] + 1)], _TURNS)
    chi2, a, a_sd, shape = _solved(taus, turns, course, spread)
    node = np.clip(a[..., None] + a_sd[..., None] * _NODES, 1e-9, _most(grams, shape)[..., None])

    def column_of(values: Array) -> Array:
        return np.broadcast_to(values, node.shape).ravel()

    cell = float(np.log(taus[1] / taus[0]) * (turns[1] - turns[0]))
    return (
        column_of(chi2[..., None]),
        np.full(node.size, 2.0 * np.log(np.diag(spread)).sum()),
        column_of(_WEIGHTS / _WEIGHTS.sum() * cell),
        (node * shape[..., -1][..., None]).ravel(),
        node.ravel(),
        column_of(taus[:, None, None]),
        column_of(turns[None, :, None] - t[-1]),
        np.full(node.size, power),
        np.full(node.size, t[-1]),
    )


def _spread(sd: Array, t: Array, rate: Array) -> Array:
    """Lower Cholesky factor (n, n) of the weighings' covariance, g².

    The scale's doubt, and the drift of each stretch: as a shift in time it moves all weighings before it by the rate at
    them; seen from the last weighing, so that what lies far back counts less.
    """
    later = np.concatenate([np.cumsum(np.diff(t)[::-1] ** 2)[::-1], [0.0]])  # of the stretches after each weighing
    after = later[np.maximum.outer(np.arange(len(t)), np.arange(len(t)))]
    return np.linalg.cholesky(np.diag(sd**2) + DRIFT**2 * np.outer(rate, rate) * after)


def _most(grams: Array, shape: Array) -> Array:
    """The most that a may be, g, (τ, turn): more water than any cake holds is none."""
    most: Array = MOST_WATER * grams[0] / np.maximum(shape[..., 0], 1e-12)
    return most


def _solved(taus: Array, turns: Array, course: _Course, spread: Array) -> tuple[Array, Array, Array, Array]:
    """chi², a and its standard deviation, each (τ, turn), and the shape (τ, turn, n): m = m∞ + a·shape."""
    t, grams = course.t, course.grams
    left = (t[None, None, :] - turns[None, :, None]) / taus[:, None, None]
    short = 1.0 - course.power
    past = np.maximum(left, 0.0)
    law = np.exp(-past) if short == 0.0 else np.maximum(0.0, 1.0 - short * past) ** (1.0 / short)
    shape = np.where(left < 0.0, 1.0 - left, law)
    white = np.linalg.inv(spread)
    one, m, f = white @ np.ones(len(t)), white @ grams, shape @ white.T
    norm = one @ one
    off = f - (f @ one / norm)[..., None] * one
    rest = m - (m @ one / norm) * one
    square = np.maximum((off**2).sum(axis=-1), 1e-300)
    a = np.clip((off * rest).sum(axis=-1) / square, 0.0, _most(grams, shape))
    chi2 = ((rest - a[..., None] * off) ** 2).sum(axis=-1)
    return chi2, a, 1.0 / np.sqrt(square), shape
