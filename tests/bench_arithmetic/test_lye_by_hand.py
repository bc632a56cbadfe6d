"""The lye step worked by hand from its equilibrium: chloride over hydroxide comes to K, and not beyond.

With K = 0.1 and 1 mol of lye a portion, x mol turn until x / (1 - x) = 0.1: x = 0.1 / 1.1 = 1/11.
"""

import re

import pytest

from service.bench.chemistry.lye import after_portions, chloride_over_hydroxide, plan_lye, plan_sugar, portions_needed


@pytest.mark.parametrize(
    ("portions", "carried", "left"),
    [
        (1, 0.0, 10 / 11),
        (2, 0.0, 9 / 11),
        # Half of the liquid stays: 1/22 mol chloride and 10/22 lye, 1 mol comes: again 1/11
        (2, 0.5, 9 / 11),
        (11, 0.0, 0.0),
        (12, 0.0, 0.0),
    ],
)
def test_each_portion_turns_an_eleventh(portions, carried, left):
    assert after_portions(1.0, 1.0, portions, 0.1, carried) == pytest.approx(left, abs=1e-12)


def test_the_liquid_that_stays_brings_its_lye_along_only_as_far_as_it_stays():
    # 2 mol of chloride, 3 mol of lye, K = 0.5: x / (3 - x) = 0.5, x = 1. A fifth stays: 0.2 mol chloride, 0.4 lye.
    # 3 mol come: (0.2 + y) / (3.4 - y) = 0.5, y = 1: all is turned.
    assert after_portions(2.0, 3.0, 1, 0.5, 0.2) == pytest.approx(1.0)
    assert after_portions(2.5, 3.0, 2, 0.5, 0.2) == pytest.approx(0.5)
    # Lye of one portion spent, none fresh in the next: nothing more turns, whatever stays.
    assert after_portions(2.5, 1e-9, 3, 0.5, 0.9) == pytest.approx(2.5, abs=1e-8)


def test_portions_to_one_percent():
    # 0.99 of a mol at an eleventh each: 10.89, so 11; a half at an eleventh each: 5.5, so 6
    assert portions_needed(1.0, 1.0, 0.1) == 11
    assert portions_needed(1.0, 1.0, 0.1, goal=0.5) == 6
    assert portions_needed(1.0, 1.0, 0.1, most=10) is None


def test_the_doubt_of_the_equilibrium_and_its_rise_in_strong_lye():
    # A factor 2 to each side, 3 above 1 mol/L; a quarter more at 10 mol/L than in thin lye
    low, value, high = chloride_over_hydroxide(60.0, 1.0)
    assert (value / low, high / value) == pytest.approx((2.0, 2.0))
    strong = chloride_over_hydroxide(60.0, 10.0)
    assert (strong[1] / strong[0], strong[2] / strong[1]) == pytest.approx((3.0, 3.0))
    assert strong[1] / chloride_over_hydroxide(60.0, 0.0)[1] == pytest.approx(1.25)


@pytest.mark.parametrize(
    ("temp_c", "portion", "portions"), [(25.0, 1.0, 1), (90.0, 1.0, 1), (90.0, 2.0, 4), (90.0, 6.0, 9)]
)
def test_what_is_left_lies_in_its_order_and_within_all_and_nothing(temp_c, portion, portions):
    plan = plan_lye(1.0, portion, portions, temp_c, carried=0.0)
    k = chloride_over_hydroxide(temp_c, 3.0)
    by_hand = [
        max(floor, 1.0 - portions * portion * x / (1.0 + x))
        for floor, x in zip((0.001, 0.01, 0.03), k[::-1], strict=True)
    ]
    assert plan.unconverted == pytest.approx(tuple(by_hand))
    low, mid, high = plan.unconverted
    assert 0.0 < low <= mid <= high <= 1.0
    shown = [float(x) for x in re.findall(r"[\d.]+", plan.sentence.split(" as chloride")[0])]
    assert shown == pytest.approx([100 * mid, 100 * low, 100 * high], rel=0.05)
    assert plan.lye_mol == pytest.approx(portion * portions)


def test_the_portions_in_words_run_from_the_best_case_to_the_worst():
    plan = plan_lye(1.0, 2.0, 1, 90.0, carried=0.0)
    low, value, high = chloride_over_hydroxide(90.0, 3.0)
    need = [portions_needed(1.0, 2.0, k, carried=0.0) for k in (value, high, low)]
    assert [int(x) for x in re.findall(r"(\d+) such portions \((\d+) to (\d+)\)", plan.sentence)[0]] == need


def test_sugar_by_its_lye():
    # 1 mol of chloride takes 1 mol, the sugar's acids 0.5, 0.8 or 1.5: 1.2 mol is 1.2/1.5, 1.2/1.8, 1.2/2.5 of it
    assert plan_sugar(1.0, 1.2, 70.0).unconverted == pytest.approx((1 - 0.8, 1 - 2 / 3, 1 - 0.48))
    assert plan_sugar(2.0, 5.0, 70.0).unconverted == pytest.approx((0.001, 0.01, 0.03))  # enough: a coat is left
    assert plan_sugar(2.0, 4.8, 70.0).unconverted == pytest.approx((0.001, 0.01, 0.04))
    assert "run short" in plan_sugar(2.0, 4.8, 70.0).sentence
    assert "run short" not in plan_sugar(2.0, 5.0, 70.0).sentence
    assert "Cold" in plan_sugar(1.0, 3.0, 49.9).sentence
    assert "Cold" not in plan_sugar(1.0, 3.0, 50.0).sentence
