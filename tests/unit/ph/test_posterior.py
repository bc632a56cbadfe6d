"""The posterior over pH, on a made-up curve whose answer is known in closed form."""

from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy.stats import t as student

from stripread.kind import Pad, StripKind
from stripread.ph.posterior import _shortest, infer_ph, with_shoulders
from stripread.results import LEVEL
from stripread.strip.pads import PadSet

KIND = StripKind("toy", 6.0, 75.0, (Pad(2.0, 6.0), Pad(9.0, 6.0)), (0.0, 14.0))


@dataclass(frozen=True)
class LineCurve:
    """Two pads whose colours run along a straight line: pH is then normal with a variance known in closed form."""

    slope: float = 4.0
    kind: StripKind = KIND
    bent: bool = False
    lot: float = 0.0

    def curve(self, ph):
        ph = np.asarray(ph, dtype=float)
        x = np.abs(ph - 7.0) if self.bent else ph
        lab = np.zeros((len(ph), 2, 3))
        lab[:, 0, 0] = 50 + self.slope * x
        lab[:, 1, 1] = self.slope * x
        return lab

    def curve_cov(self, ph):
        return np.zeros((len(ph), 6, 6))

    def lot_cov(self, ph):
        return np.broadcast_to(self.lot**2 * np.eye(6), (len(ph), 6, 6))


def pads_at(ph, curve, sd=0.5, offset=0.0):
    lab = curve.curve(np.array([ph]))[0] + offset
    cov = sd**2 * np.eye(6)
    return PadSet(lab, cov, {"noise": cov}, np.zeros((2, 4, 2)), ())


def test_value_and_width_of_a_straight_line():
    curve = LineCurve()
    e = infer_ph(pads_at(5.3, curve), curve)
    assert e.ph == pytest.approx(5.3, abs=0.005)
    sd = 0.5 / (4.0 * np.sqrt(2.0))  # two pads, each with slope 4
    # (1 + q / 8)^-7 with q = (pH / sd)^2 is Student's t of 13 degrees of freedom in pH, its scale sd sqrt(8 / 13)
    expected = 2 * sd * np.sqrt(8 / 13) * student.ppf(0.975, 13)
    assert e.interval[1] - e.interval[0] == pytest.approx(expected, abs=0.003)  # less than a step of the grid
    assert e.density.sum() * (e.grid[1] - e.grid[0]) == pytest.approx(1.0)
    assert not e.alternatives
    assert e.misfit == pytest.approx(0.0, abs=1e-6)


def test_two_values_that_fit_alike_are_both_named():
    curve = LineCurve(bent=True)
    e = infer_ph(pads_at(5.0, curve), curve)
    assert len(e.alternatives) == 1
    assert {round(e.ph), round(e.alternatives[0].ph)} == {5, 9}
    assert e.alternatives[0].weight == pytest.approx(0.5, abs=0.02)
    assert e.interval[0] < 5.0
    assert e.interval[1] > 9.0  # 95 % of the belief, not of one half of it


def test_misfit_counts_standard_deviations_off_the_curve():
    curve = LineCurve()
    off = pads_at(5.0, curve)
    off = replace(off, lab=off.lab + np.array([[0, 0, 3.0], [0, 0, 0]]))
    assert infer_ph(off, curve).misfit == pytest.approx(6.0 / np.sqrt(5.0), rel=0.02)


def test_larger_doubt_never_narrows_the_interval():
    curve = LineCurve()
    widths = []
    for sd in (0.2, 0.5, 1.0, 2.0, 5.0):
        low, high = infer_ph(pads_at(6.0, curve, sd), curve).interval
        widths.append(high - low)
    assert widths == sorted(widths)


@pytest.mark.parametrize("cause", ["noise", "strip_lot"])
def test_budget_adds_up_and_each_part_follows_its_cause(cause):
    quiet = infer_ph(pads_at(6.0, LineCurve(lot=0.5), 0.5), LineCurve(lot=0.5))
    noise, lot = (1.0, 0.5) if cause == "noise" else (0.5, 1.0)
    loud = infer_ph(pads_at(6.0, LineCurve(lot=lot), noise), LineCurve(lot=lot))
    for e in (quiet, loud):
        mass = e.density / e.density.sum()
        variance = (mass * e.grid**2).sum() - (mass * e.grid).sum() ** 2
        assert sum(e.budget.values()) == pytest.approx(variance, rel=1e-6)
    assert loud.budget[cause] == pytest.approx(4 * quiet.budget[cause], rel=0.05)
    other = "strip_lot" if cause == "noise" else "noise"
    assert loud.budget[other] == pytest.approx(quiet.budget[other], rel=0.05)


def test_value_at_the_end_of_the_range_stays_inside():
    curve = LineCurve()
    e = infer_ph(pads_at(14.0, curve, 2.0), curve)
    assert e.interval[1] == pytest.approx(14.0, abs=0.01)
    assert e.interval[0] < 13.8


def test_a_plateau_keeps_its_shoulders_and_a_normal_its_interval():
    grid = np.linspace(0.0, 14.0, 2801)
    normal = np.exp(-0.5 * ((grid - 7.0) / 0.3) ** 2)
    low, high = with_shoulders(grid, normal, _shortest(grid, normal, LEVEL))
    assert (low, high) == pytest.approx((7.0 - 0.588, 7.0 + 0.588), abs=0.01)
    plateau = 1.0 / (1.0 + np.exp(-(grid - 6.5) / 0.02)) / (1.0 + np.exp((grid - 8.0) / 0.02))
    shortest = _shortest(grid, plateau, LEVEL)
    assert shortest[1] - shortest[0] == pytest.approx(0.95 * 1.5, abs=0.03)  # a twentieth is left off
    low, high = with_shoulders(grid, plateau, shortest)
    assert low < 6.5
    assert high > 8.0
    assert high - low < 1.6


def test_a_wide_interval_reaches_farther():
    """Beyond 2 pH to the 99.5 % of a normal: 2.80 standard deviations."""
    grid = np.linspace(0.0, 14.0, 2801)
    for sd, ends in ((0.5, 1.96), (0.6, 2.797)):
        normal = np.exp(-0.5 * ((grid - 7.0) / sd) ** 2)
        low, high = with_shoulders(grid, normal, _shortest(grid, normal, LEVEL))
        assert (high - low) / 2 / sd == pytest.approx(ends, abs=0.02)


def test_a_density_that_stays_high_to_the_range_s_end_is_one_sided():
    grid = np.linspace(0.0, 14.0, 2801)
    density = np.where(grid < 10.0, np.exp(-0.5 * ((grid - 10.0) / 0.2) ** 2), np.exp(-0.2 * (grid - 10.0)))
    low, high = with_shoulders(grid, density, _shortest(grid, density, LEVEL))
    assert high == 14.0
    assert 9.4 < low < 9.7
