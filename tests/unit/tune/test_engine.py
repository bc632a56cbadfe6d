"""A number remade is fitted on one half of the setups and judged on the other, and the fit finds what is there."""

import types

import numpy as np
import pytest

from stripread.errors import CallError, Refused
from stripread.reasons import because
from stripread.tuned import tuned
from tests.tune.engine import Tuning, best, draw_halves, halves, remake, replaced


def test_each_setup_is_in_one_half():
    fitting, reporting = halves(700, 40)
    assert len(fitting) == len(reporting) == 20
    assert sorted(fitting + reporting) == list(range(700, 740))


def test_halves_stay_when_more_setups_are_drawn():
    few, many = halves(700, 10), halves(700, 200)
    assert few == (many[0][:5], many[1][:5])


def test_the_coin_falls_on_both_sides():
    fitting, _ = halves(0, 100)
    assert 15 < sum(setup % 2 for setup in fitting) < 35  # 25 expected, 3.5 a standard deviation: fails 1 in 250


@pytest.mark.parametrize("at", [0.03, 1.0, 47.0])
def test_best_finds_a_peak_of_any_size(at):
    assert best(lambda v: -((np.log(v) - np.log(at)) ** 2), 1.0, 1e-3, 1e3) == pytest.approx(at, rel=0.02)


def test_best_finds_several_that_hang_together():
    def score(value):
        x, y = np.log(value[0] / 0.2), np.log(value[1] / 5.0)
        return -(x * x + y * y + 0.3 * x * y)

    assert best(score, (1.0, 1.0), 1e-3, 1e3) == pytest.approx((0.2, 5.0), rel=0.1)


def fit_spread(draws):
    """Likeliest standard deviation of normal draws about nothing: their root mean square."""
    return float(np.sqrt(np.mean(np.square(draws))))


def normal_draw(setup):
    return float(np.random.default_rng(setup).normal(0.0, 0.3))


def judge_spread(one, value):
    return {"log likelihood": -np.log(value) - 0.5 * (one / value) ** 2, "setup": one}


def remade(draw, fit, judge, count):
    """``edge_sd`` stands in for the name: some stored value is needed."""
    return remake("edge_sd", Tuning("stripread.solid", draw, fit, judge), *draw_halves(draw, 0, count, 1))


def test_remake_fits_on_one_half_and_reports_on_the_other():
    heard = []

    def fit(draws):
        heard.extend(draws)
        return fit_spread(draws)

    found = remade(normal_draw, fit, judge_spread, 400)
    fitting, reporting = halves(0, 400)
    assert heard == [normal_draw(setup) for setup in fitting]
    assert found.measures["setup"].stored == pytest.approx(np.mean([normal_draw(setup) for setup in reporting]))
    assert found.stored == tuned("stripread.solid").number("edge_sd")
    assert found.fitted == pytest.approx(0.3, rel=0.15)  # 0.05 relative is a standard deviation: fails 3 in 1000
    likelihood = found.measures["log likelihood"]
    assert likelihood.fitted > likelihood.stored + 3 * likelihood.difference_se


@pytest.mark.slow
def test_processes_give_the_same():
    assert draw_halves(normal_draw, 0, 8, 1) == draw_halves(normal_draw, 0, 8, 2)


def test_refused_setups_are_left_out():
    def draw(setup):
        if setup in {2, 3}:
            raise Refused(because("blown_out"))
        return normal_draw(setup)

    found = remade(draw, fit_spread, judge_spread, 8)
    assert (found.fitted_on, found.judged_on) == (3, 3)


def test_a_measure_that_says_nothing_of_a_setup_leaves_it_out():
    def judge(one, value):
        return {"half of them": value if one > 0 else float("nan"), "none": float("nan")}

    found = remade(normal_draw, fit_spread, judge, 40)
    assert found.measures["half of them"].fitted == pytest.approx(found.fitted)
    assert np.isnan(found.measures["none"].stored)


def test_nothing_drawn_is_said():
    def draw(setup):
        raise CallError("no")

    with pytest.raises(CallError, match="--setups"):
        draw_halves(draw, 0, 4, 1)


def test_a_replaced_constant_comes_back():
    module = types.ModuleType("made_up")
    module.LIMIT, module.SIZES = 1.0, np.array([1.0, 2.0])

    def fail():
        with replaced(module, "LIMIT", 2.0), replaced(module, "SIZES", (3.0, 4.0)):
            assert module.LIMIT == 2.0
            assert (module.SIZES * 2 == [6.0, 8.0]).all()
            raise KeyError

    with pytest.raises(KeyError):
        fail()
    assert module.LIMIT == 1.0
    assert (module.SIZES == [1.0, 2.0]).all()
