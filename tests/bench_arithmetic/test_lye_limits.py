"""Where the lye plan begins and ends: what it turns away, and its count of portions, worked by hand."""

import pytest

from service.bench.chemistry.lye import chloride_over_hydroxide, plan_lye, plan_sugar, portions_needed

# With K = 1 and nothing carried over, a portion of 0.5 mol ends with as much chloride as hydroxide in solution: half of
# the portion, 0.25 mol, is turned each time. One mole is therefore gone with the fourth portion and not before.
HAND = {"chloride_mol": 1.0, "portion_mol": 0.5, "k": 1.0, "carried": 0.0}


def test_portions_by_hand():
    assert portions_needed(**HAND) == 4


@pytest.mark.parametrize(("most", "portions"), [(4, 4), (3, None)])
def test_the_last_portion_allowed_is_tried(most, portions):
    assert portions_needed(**HAND, most=most) == portions


@pytest.mark.parametrize(("goal", "portions"), [(0.25, 3), (0.24, 4)])
def test_the_goal_itself_is_reached(goal, portions):
    assert portions_needed(**HAND, goal=goal) == portions


@pytest.mark.parametrize("temp_c", [0.0, 100.0])
def test_water_s_own_range_is_computed_to_its_ends(temp_c):
    low, value, high = chloride_over_hydroxide(temp_c)
    assert 0.0 < low < value < high


@pytest.mark.parametrize("temp_c", [-0.1, 100.1])
def test_other_temperatures_are_turned_away(temp_c):
    with pytest.raises(ValueError, match="outside 0-100"):
        chloride_over_hydroxide(temp_c)


@pytest.mark.parametrize(
    "wrong",
    [
        {"chloride_mol": 0.0},
        {"portion_mol": 0.0},
        {"lye_mol_l": 0.0},
        {"portions": 0},
        {"carried": 1.0},
        {"carried": -0.01},
    ],
)
def test_each_amount_alone_can_be_wrong(wrong):
    right = {"chloride_mol": 1.0, "portion_mol": 2.0, "portions": 1, "temp_c": 60.0, "lye_mol_l": 3.0, "carried": 0.0}
    plan_lye(**right)
    with pytest.raises(ValueError, match="needs amounts above 0"):
        plan_lye(**{**right, **wrong})


@pytest.mark.parametrize(("chloride_mol", "lye_mol"), [(0.0, 1.0), (1.0, 0.0)])
def test_sugar_needs_both_amounts(chloride_mol, lye_mol):
    with pytest.raises(ValueError, match="needs amounts above 0"):
        plan_sugar(chloride_mol, lye_mol, 60.0)


def test_hopeless_portions_are_called_so():
    # A thousandth of a mole can turn no more than itself: a mole needs at least 990 of them.
    assert "over 200" in plan_lye(1.0, 0.001, 1, 25.0).sentence


# Lye needed a mole of chloride: 1 + 0.5, 1.8, 2.5 mol. 1.25 mol is short of 1.5 by a sixth, of 2.5 by a half.
def test_a_shortage_of_lye_by_hand():
    low, _, high = plan_sugar(1.0, 1.25, 60.0).unconverted
    assert low == pytest.approx(1 / 6)
    assert high == pytest.approx(0.5)


@pytest.mark.parametrize(("temp_c", "cold"), [(49.9, True), (50.0, False)])
def test_cold_lye_is_told_to_be_slow(temp_c, cold):
    assert ("Cold it is slow" in plan_sugar(1.0, 3.0, temp_c).sentence) is cold


def test_one_portion_may_be_enough():
    # Of 3 mol with K = 1 half could be turned: more than there is.
    assert portions_needed(1.0, 3.0, 1.0) == 1
    assert plan_sugar(1.0, 3.0, 60.0).portions == 1


def test_a_hundredth_is_the_goal_and_200_portions_the_most():
    # K = 1 turns half of each portion: four of 0.494 leave 0.012. 0.99 mol in 200.5 turns are 201 portions.
    assert portions_needed(1.0, 0.494, 1.0) == 5
    assert portions_needed(1.0, 0.496, 1.0) == 4
    assert portions_needed(1.0, 2 * 0.99 / 200.5, 1.0) is None
    assert portions_needed(1.0, 2 * 0.99 / 199.5, 1.0) == 200


def test_the_doubt_grows_with_the_lye_and_its_effect_ends_at_ten_molar():
    for lye, factor in ((0.1, 2.0), (1.0, 2.0), (1.01, 3.0), (10.0, 3.0)):
        low, value, high = chloride_over_hydroxide(60.0, lye)
        assert (value / low, high / value) == pytest.approx((factor, factor))
    # A quarter from 0.1 to 10 mol/L (the PHREEQC tables named beside the formula), none from there on.
    value = {lye: chloride_over_hydroxide(60.0, lye)[1] for lye in (0.1, 10.0, 12.0)}
    assert value[10.0] / value[0.1] == pytest.approx(1.25, rel=0.005)
    assert value[12.0] == value[10.0]
    assert chloride_over_hydroxide(60.0)[1] == value[0.1]
