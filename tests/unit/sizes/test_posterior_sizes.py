"""The posterior against numerical integration written down again, on a toy whose colours and doubts change with pH.

Where the covariance changes, its determinant counts: without it, or weighted otherwise, a pH with large doubts would
fit everything. The t density is SciPy's own (``scipy.stats.multivariate_t``), of 8 degrees of freedom as the docstring
of ``stripread/ph/posterior.py`` has it, scale the sum of measurement, strip and curve.
"""

from dataclasses import dataclass

import numpy as np
import pytest
from scipy.stats import multivariate_t

from stripread.kind import Pad, StripKind
from stripread.ph.posterior import SHOULDER, WIDE, WIDE_SHOULDER, infer_ph
from stripread.strip.pads import PadSet
from tests.unit.sizes.montecarlo import assert_share

FREEDOM = 8.0
KIND = StripKind("toy", 6.0, 75.0, (Pad(2.0, 6.0), Pad(9.0, 6.0)), (0.0, 14.0))


@dataclass(frozen=True)
class Toy:
    """Two pads, one transition each; strips differ more the higher the pH, the curve is known worse at its low end."""

    kind: StripKind = KIND

    def curve(self, ph):
        ph = np.asarray(ph, dtype=float)
        one, two = 1 / (1 + np.exp(-(ph - 5.0))), 1 / (1 + np.exp(-0.8 * (ph - 9.0)))
        pads = [np.stack([70 - 15 * one, 20 * one, 30 - 10 * one], -1), np.stack([60 - 9 * two, -18 * two, 5 + ph], -1)]
        return np.stack(pads, axis=1)

    def curve_cov(self, ph):
        sd = 0.3 + 1.2 * np.exp(-np.asarray(ph, dtype=float))
        return sd[:, None, None] ** 2 * np.eye(6)

    def lot_cov(self, ph):
        ph = np.asarray(ph, dtype=float)
        way = np.array([1.0, 0.5, -0.2, 0.8, -0.6, 0.3])
        own = (0.1 + 0.02 * ph**2) ** 2
        return own[:, None, None] * (0.6 * np.outer(way, way) + 0.4 * np.eye(6))


TOY = Toy()
MEASURED = 0.6**2 * (np.eye(6) + 0.4 * np.kron(np.ones((2, 2)), np.eye(3)))


def scale(ph):
    at = np.array([ph])
    return MEASURED + TOY.curve_cov(at)[0] + TOY.lot_cov(at)[0]


def pads(lab, cov=MEASURED):
    return PadSet(lab.reshape(2, 3), cov, {"noise": 0.25 * cov, "tone": 0.75 * cov}, np.zeros((2, 4, 2)), ())


def brute(lab):
    """Posterior (M,) on a grid of its own, integrated by the trapezium rule."""
    grid = np.linspace(0.0, 14.0, 1401)
    mean = TOY.curve(grid).reshape(-1, 6)
    like = np.array([multivariate_t(m, scale(ph), df=FREEDOM).logpdf(lab) for m, ph in zip(mean, grid, strict=True)])
    density = np.exp(like - like.max())
    return grid, density / np.trapezoid(density, grid)


def moments(grid, density):
    mean = np.trapezoid(grid * density, grid)
    return mean, np.trapezoid((grid - mean) ** 2 * density, grid)


def drawn(ph, rng):
    return multivariate_t(TOY.curve([ph])[0].reshape(-1), scale(ph), df=FREEDOM).rvs(random_state=rng)


PLACES = [0.5, 2.0, 4.5, 7.0, 9.5, 12.0, 13.6]


@pytest.mark.parametrize("ph", PLACES)
def test_density_interval_and_variance_are_those_of_the_integral(ph):
    lab = drawn(ph, np.random.default_rng(int(10 * ph)))
    e = infer_ph(pads(lab), TOY)
    grid, density = brute(lab)
    assert e.density == pytest.approx(np.interp(e.grid, grid, density), abs=0.004 * density.max())
    low, high = e.interval
    held = np.diff(np.interp([low, high], grid, np.cumsum(density) * 0.01))[0]
    assert held > 0.95 - 0.008
    if held > 0.95 + 0.008:  # it reaches to where the density has fallen as far as a normal's has at its ends
        inside = [end for end in (low, high) if grid[0] < end < grid[-1]]
        ends = np.interp(inside, grid, density) / density.max()
        assert ends.max() == pytest.approx(WIDE_SHOULDER if high - low > WIDE else SHOULDER, rel=0.1)
    mean, variance = moments(grid, density)
    assert sum(e.budget.values()) == pytest.approx(variance, rel=0.01)
    assert np.average(e.grid, weights=e.density) == pytest.approx(mean, abs=0.003)
    # Nothing outside of the shortest interval is likelier than what is inside.
    edge = np.interp([low, high], grid, density)
    assert edge.max() - edge.min() < 0.02 * density.max() or low < 0.01 or high > 13.99


def test_the_determinant_counts():
    """Colours half-way between two pH: where the doubts are small, a miss costs more and a hit earns more."""
    lab = TOY.curve([12.0])[0].reshape(-1)
    grid, density = brute(lab)
    _, variance = moments(grid, density)
    flat = density * np.exp(0.5 * np.array([np.linalg.slogdet(scale(ph))[1] for ph in grid]))
    flat /= np.trapezoid(flat, grid)
    e = infer_ph(pads(lab), TOY)
    off = np.abs(np.interp(grid, e.grid, e.density) - density).max()
    assert off < 0.05 * np.abs(flat - density).max()  # this place does tell the two apart
    assert sum(e.budget.values()) == pytest.approx(variance, rel=0.01)


def test_intervals_hold_what_they_promise_in_a_population_with_student_s_tails():
    """pH from the prior, colours from the t distribution: a posterior's interval then covers as it says, 95 %.

    900 draws: 95 % +- 3.2 % at a false-alarm rate of 1e-5 (binomial, normal approximation).
    """
    rng = np.random.default_rng(11)
    truths = rng.uniform(0.0, 14.0, 900)
    inside, below, misfits = [], [], []
    for truth in truths:
        e = infer_ph(pads(drawn(truth, rng)), TOY)
        inside.append(e.interval[0] <= truth <= e.interval[1])
        below.append(float(e.density[e.grid < truth].sum() / e.density.sum()))
        misfits.append(e.misfit**2)
    assert_share(inside, 0.95)
    for level in (0.025, 0.1, 0.5, 0.9, 0.975):  # the density's own quantiles, tails and middle
        assert_share(np.array(below) < level, level)
    # The squared misfit over 5 degrees of freedom: a t's mean square is 8 / (8 - 2), less what the fit takes.
    assert 0.9 < np.mean(misfits) < 1.7


@dataclass(frozen=True)
class Bent(Toy):
    """Every colour comes twice, left and right of pH 7, with larger doubts on the right."""

    def curve(self, ph):
        x = np.abs(np.asarray(ph, dtype=float) - 7.0)
        return np.stack([np.stack([50 + 4 * x, 0 * x, 0 * x], -1), np.stack([0 * x, 4 * x, 0 * x], -1)], axis=1)

    def curve_cov(self, ph):
        return np.zeros((len(ph), 6, 6))

    def lot_cov(self, ph):
        sd = np.where(np.asarray(ph) > 7.0, 1.0, 0.4)
        return sd[:, None, None] ** 2 * np.eye(6)


def test_another_value_has_the_weight_of_its_determinant():
    """On the curve both branches fit alike: density is 1 / sqrt(det) and width grows as the standard deviation.

    So the weights are as sd^-6 times sd: (0.5 / sqrt(0.25 + 0.16))^5 to (0.5 / sqrt(0.25 + 1))^5 with noise of 0.5.
    """
    toy = Bent()
    e = infer_ph(pads(toy.curve([4.5])[0].reshape(-1), 0.25 * np.eye(6)), toy)
    left, right = (0.25 + 0.16) ** -2.5, (0.25 + 1.0) ** -2.5
    (other,) = e.alternatives
    assert e.ph == pytest.approx(4.5, abs=0.03)
    assert other.ph == pytest.approx(9.5, abs=0.05)
    assert other.weight == pytest.approx(right / (left + right), abs=0.004)


@pytest.mark.parametrize("ph", [3.0, 6.0, 11.0])
def test_the_budget_is_that_of_the_ph_found(ph):
    """Each cause by w C w at the pH that was read, w = S^-1 J / J'S^-1 J, J by differences of the toy itself."""
    e = infer_ph(pads(TOY.curve([ph])[0].reshape(-1)), TOY)
    assert e.ph == pytest.approx(ph, abs=0.1)
    J = ((TOY.curve([ph + 1e-4]) - TOY.curve([ph - 1e-4])) / 2e-4).reshape(-1)
    w = np.linalg.solve(scale(ph), J)
    w /= J @ w
    claimed = {
        "noise": w @ (0.25 * MEASURED) @ w,
        "tone": w @ (0.75 * MEASURED) @ w,
        "strip_lot": w @ TOY.lot_cov([ph])[0] @ w,
        "calibration": w @ TOY.curve_cov([ph])[0] @ w,
    }
    shrink = min(1.0, sum(e.budget.values()) / sum(claimed.values()))
    for cause, value in claimed.items():
        assert e.budget[cause] == pytest.approx(shrink * value, rel=0.05)  # the pH read lies within 0.1 of it
