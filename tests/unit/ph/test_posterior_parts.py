"""The posterior's parts on rows of numbers worked out by hand: humps, intervals, the error budget."""

from dataclasses import dataclass, replace

import numpy as np
import pytest

from stripread.ph.posterior import COARSE, MODE_WEIGHT, _budget, _modes, _quantile, _shortest, infer_ph
from stripread.strip.pads import PadSet
from tests.unit.ph.test_posterior import KIND, LineCurve, pads_at


@pytest.mark.parametrize(
    ("mass", "humps"),
    [
        ([1, 5, 1, 0.7, 1, 4, 1], [(0, 3), (3, 7)]),  # 0.7 lies under a fifth of 4
        ([1, 4, 1, 0.7, 1, 5, 1], [(3, 7), (0, 3)]),  # the heaviest first
        ([1, 5, 1, 0.9, 1, 4, 1], [(0, 7)]),  # under a fifth of the higher hump only
        ([1, 5, 1, 5, 1], [(0, 5)]),  # a fifth itself is not under it
        ([5, 1, 0.1, 1, 4], [(0, 2), (2, 5)]),  # humps at both ends
        ([0.5, 0.1, 0.01, 0.1, 0.3], [(0, 2), (2, 5)]),  # however small the numbers
        ([1, 5, 5, 1, 0.1, 1, 4, 4, 1], [(0, 4), (4, 9)]),  # flat tops
        ([0, 5, 0, 1e-5, 0], [(0, 2), (2, 5)]),
        ([0, 5, 0, 1e-7, 0], [(0, 5)]),  # a ripple under a millionth of the highest
        ([0, 0.05, 0, 1e-7, 0], [(0, 2), (2, 5)]),  # of the highest, whatever that is
        ([1, 9, 0.3, 2, 0.1, 3, 1], [(0, 2), (4, 7), (2, 4)]),
        ([1, 2, 3, 2, 1], [(0, 5)]),
    ],
)
def test_humps(mass, humps):
    assert _modes(np.arange(len(mass), dtype=float), np.array(mass, dtype=float)) == humps


def test_quantiles_by_hand():
    grid = np.arange(4.0)
    assert _quantile(grid, np.ones(4), 0.5) == pytest.approx(1.5)
    # Half of what lies left of 2 and of 2 itself: (1 + 1 + 3 / 2) of 10 are 0.35.
    assert _quantile(grid, np.array([1.0, 1.0, 3.0, 5.0]), 0.35) == pytest.approx(2.0)


def test_shortest_intervals_in_closed_form():
    grid = np.linspace(0.0, 1.0, 1001)
    rises = _shortest(grid, grid.copy(), 0.95)  # of a density 2x the lowest 5 % lie below sqrt(0.05)
    assert rises == pytest.approx((np.sqrt(0.05), 1.0), abs=2e-3)
    falls = _shortest(grid, 1.0 - grid, 0.95)
    assert falls == pytest.approx((0.0, 1.0 - np.sqrt(0.05)), abs=2e-3)
    bell = np.exp(-0.5 * ((grid - 0.5) / 0.1) ** 2)
    assert _shortest(grid, bell, 0.95) == pytest.approx((0.5 - 0.196, 0.5 + 0.196), abs=2e-3)
    assert _shortest(grid, bell, 0.5) == pytest.approx((0.5 - 0.0674, 0.5 + 0.0674), abs=2e-3)


def test_an_interval_may_leave_out_just_its_share():
    assert _shortest(np.array([0.0, 1.0]), np.array([0.05, 0.95]), 0.95) == pytest.approx((0.5, 1.0))


# One pad whose L* rises by 4 a pH, doubts of 1 in each channel: w is (1/4, 0, 0), a variance v in L* gives v / 16.
MEAN = np.stack([4.0 * COARSE * np.arange(9.0), np.zeros(9), np.zeros(9)], axis=-1)
S = np.broadcast_to(np.eye(3), (9, 3, 3))


def _in_lightness(**variances):
    return {name: np.diag([value, 7.0, 7.0]) for name, value in variances.items()}


def test_a_budget_by_hand():
    causes = _in_lightness(tone=16.0, light=32.0, correction=16.0, cross=-32.0, noise=16.0)
    # Tone, light, correction are 1, 2, 1, together 4 - 2: each takes half. With noise 3; the rest is the shape.
    found = _budget(MEAN, S, 4, causes, 5.0)
    assert found == pytest.approx({"tone": 0.5, "light": 1.0, "correction": 0.5, "noise": 1.0, "curve_shape": 2.0})
    halved = {cause: part / 2 for cause, part in found.items()} | {"curve_shape": 0.0}
    assert _budget(MEAN, S, 4, causes, 1.5) == pytest.approx(halved)
    assert _budget(MEAN, S, 4, causes, 3.0)["curve_shape"] == pytest.approx(0.0)


def test_what_is_correlated_may_cancel_but_not_below_nothing():
    found = _budget(MEAN, S, 4, _in_lightness(tone=16.0, cross=-80.0, noise=16.0), 5.0)
    assert found == pytest.approx({"tone": 0.0, "noise": 1.0, "curve_shape": 4.0})
    apart = _budget(MEAN, S, 4, _in_lightness(tone=16.0, light=16.0), 5.0)
    assert apart == pytest.approx({"tone": 1.0, "light": 1.0, "curve_shape": 3.0})


def test_nothing_doubted_is_a_budget_too():
    nothing = {name: np.zeros((3, 3)) for name in ("tone", "cross", "noise")}
    assert _budget(MEAN, S, 4, nothing, 5.0) == {"tone": 0.0, "noise": 0.0, "curve_shape": 5.0}
    flat = _budget(np.zeros((9, 3)), S, 4, _in_lightness(noise=1.0), 5.0)  # a curve that says nothing of pH
    assert flat == {"noise": 0.0, "curve_shape": 5.0}


@pytest.mark.parametrize(("at", "low", "high"), [(0, 0, 1), (1, 0, 2), (4, 3, 5), (7, 6, 8), (8, 7, 8)])
def test_the_slope_is_that_of_the_neighbours(at, low, high):
    mean = MEAN**2 + MEAN  # bends
    slope = (mean[high, 0] - mean[low, 0]) / (COARSE * (high - low))
    assert _budget(mean, S, at, _in_lightness(noise=1.0), 1e9)["noise"] == pytest.approx(1.0 / slope**2)


def test_each_place_has_its_own_doubts():
    doubts = np.array([np.diag([1.0 + i, 4.0, 1.0]) for i in range(9)])
    mean = MEAN.copy()
    mean[:, 1] = mean[:, 0]
    for at in (2, 6):
        # Slope 4 in two channels of variance 1 + at and 4: w by hand.
        a, b = 4.0 / (1.0 + at), 1.0
        total = 4.0 * (a + b)
        noise = np.diag([1.0, 2.0, 3.0])
        assert _budget(mean, doubts, at, {"noise": noise}, 1e9)["noise"] == pytest.approx((a**2 + 2 * b**2) / total**2)


@dataclass(frozen=True)
class Twice(LineCurve):
    """Each colour twice, left and right of pH 7; on the right strips differ so much that its weight is small."""

    bent: bool = True
    right: float = 1.0

    def lot_cov(self, ph):
        return np.where(np.asarray(ph) > 7.0, self.right**2, 0.0)[:, None, None] * np.eye(6)


@pytest.mark.parametrize(("part", "named"), [(0.7, False), (1.4, True)])
def test_another_value_is_named_from_its_weight_on(part, named):
    # On the curve the right one's weight is as sd^-5: (sd_left / sd_right)^5, as in the sizes' test of determinants.
    weight = part * MODE_WEIGHT
    ratio = (weight / (1.0 - weight)) ** -0.2
    curve = Twice(right=0.5 * np.sqrt(ratio**2 - 1.0))
    e = infer_ph(pads_at(3.5, curve), curve)
    assert [a.weight for a in e.alternatives] == ([pytest.approx(weight, rel=0.02)] if named else [])
    assert e.ph == pytest.approx(3.5, abs=0.05)


def test_a_strip_that_reads_from_4_to_9():
    curve = LineCurve(kind=replace(KIND, range=(4.0, 9.0)))
    e = infer_ph(pads_at(5.3, curve), curve)
    assert (e.grid[0], e.grid[-1], len(e.grid)) == (4.0, 9.0, 1001)
    whole = infer_ph(pads_at(5.3, LineCurve()), LineCurve())
    assert e.ph == pytest.approx(whole.ph, abs=1e-6)
    assert e.interval == pytest.approx(whole.interval, abs=1e-6)
    assert e.density.max() == pytest.approx(whole.density.max(), rel=1e-6)
    assert sum(e.budget.values()) == pytest.approx(sum(whole.budget.values()), rel=1e-6)


def test_a_curve_is_asked_for_its_own_range_and_all_of_it():
    asked = []

    @dataclass(frozen=True)
    class Asked(LineCurve):
        def curve(self, ph):
            asked.extend(ph)
            return super().curve(ph)

    curve = Asked(kind=replace(KIND, range=(4.0, 9.0)))
    infer_ph(pads_at(5.3, LineCurve()), curve)
    assert (min(asked), max(asked)) == pytest.approx((4.0, 9.0))


def test_a_single_pad_has_two_degrees_of_freedom_left():
    @dataclass(frozen=True)
    class One(LineCurve):
        def curve(self, ph):
            return super().curve(ph)[:, :1]

        def curve_cov(self, ph):
            return np.zeros((len(ph), 3, 3))

        def lot_cov(self, ph):
            return np.zeros((len(ph), 3, 3))

    lab = One().curve(np.array([5.0]))[0] + np.array([[0.0, 1.0, 1.0]])
    pads = PadSet(lab, 0.25 * np.eye(3), {"noise": 0.25 * np.eye(3)}, np.zeros((1, 4, 2)), ())
    assert infer_ph(pads, One()).misfit == pytest.approx(np.sqrt(2 * 4.0 / 2.0), rel=1e-6)
