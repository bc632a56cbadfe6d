"""How dyes are off is told from how the inks are off."""

from dataclasses import replace

import numpy as np
import pytest

from stripread.card.values import nominal_values
from stripread.colour import rgb_to_lab
from stripread.correction.dye_field import INK_SHARE, RIDGE, SD_HALF, basis, dye_field, ink_field, modes
from stripread.correction.fit import fix_colour
from stripread.correction.verdicts import doubts_of_fix
from tests.design_dyes import MOST, one_card
from tests.unit.correction.test_fit import KNOWN, photo


def patches(n=60, seed=0):
    rng = np.random.default_rng(seed)
    return np.column_stack([rng.uniform(25, 95, n), rng.uniform(-60, 60, n), rng.uniform(-60, 60, n)]), rng


def test_a_quadratic_miss_is_found_again():
    lab, rng = patches(400)
    true = rng.normal(size=(10, 3))
    found = ink_field(lab, basis(lab) @ true, np.zeros(len(lab)), np.ones(len(lab)))
    at, _ = patches(20, 1)
    assert basis(at) @ found == pytest.approx(basis(at) @ true, abs=0.1)


def test_patches_of_unsure_value_and_patches_not_trusted_say_little():
    lab, _ = patches()
    miss, sure, trusted = np.full((60, 3), 2.0), np.zeros(60), np.ones(60)
    told = np.abs(basis(lab) @ ink_field(lab, miss, sure, trusted)).mean()
    for sd, weight in ((np.full(60, 40.0), trusted), (sure, np.full(60, 0.002))):
        assert np.abs(basis(lab) @ ink_field(lab, miss, sd, weight)).mean() < 0.5 * told


def test_the_step_is_linear_and_nothing_makes_nothing():
    _, rng = patches()
    one, two = rng.normal(size=(2, 10, 3))
    assert dye_field(one + 2 * two) == pytest.approx(dye_field(one) + 2 * dye_field(two))
    assert not dye_field(np.zeros((10, 3))).any()
    assert len(modes()[0]) == len(modes()[1]) == 8


@pytest.mark.slow
def test_dyes_of_cards_that_were_not_in_the_design_are_less_off():
    rows = [row for seed in range(90_000, 90_010) for row in one_card(seed)]
    field, lab, error, cut, ink = (np.array(part) for part in zip(*rows, strict=True))
    error, keep = np.clip(error, -MOST, MOST), ~cut
    shift = np.array([basis(at) @ dye_field(f) for at, f in zip(lab, field, strict=True)])
    by_ink = np.sqrt(((error - ink)[keep] ** 2).mean(axis=0))
    by_dye = np.sqrt(((error - INK_SHARE * ink - shift)[keep] ** 2).mean(axis=0))
    assert (by_dye < [0.97, 0.93, 0.99] * by_ink).all()


def test_a_light_that_shows_dyes_otherwise_is_doubted():
    samples = photo(0)
    fix = fix_colour(samples, KNOWN)
    assert "poor_light" not in {r.code for r in doubts_of_fix(fix, samples, KNOWN)}
    far = replace(fix, dyes=fix.dyes + 5.0 * np.eye(10, 3))
    assert "poor_light" in {r.code for r in doubts_of_fix(far, samples, KNOWN)}


def test_a_card_of_unknown_print_tells_nothing_of_dyes():
    samples = photo(0)
    fix = fix_colour(samples, nominal_values())
    assert not fix.dyes.any()
    at = np.array([[60.0, 40.0]])
    rgb = np.array([[0.7, 0.4, 0.5]])
    print_lab = fix.to_lab(rgb, at, np.full((1, 3), 1e-6), dye=False)[0]
    assert fix.to_lab(rgb, at, np.full((1, 3), 1e-6), dye=True)[0] == pytest.approx(print_lab)
    assert print_lab != pytest.approx(rgb_to_lab(fix.to_rgb(rgb, at)), abs=1e-6)


def test_terms_by_hand():
    # (75 - 60) / 30, 15 / 30, -30 / 30
    L, a, b = 0.5, 0.5, -1.0
    expected = [1, L, a, b, L * L, L * a, L * b, a * a, a * b, b * b]
    assert basis(np.array([75.0, 15.0, -30.0])) == pytest.approx(np.array(expected))
    assert basis(np.array([[90.0, 30.0, 60.0]]))[0] == pytest.approx(np.array([1, 1, 1, 2, 1, 1, 2, 1, 2, 4]))


def test_beyond_the_colours_of_inks_the_field_is_held():
    ends = {(-9.0, 0.0, 0.0): (0.0, 0.0, 0.0), (109.0, 0.0, 0.0): (100.0, 0.0, 0.0)}
    ends |= {(50.0, -90.0, -90.0): (50.0, -70.0, -70.0), (50.0, 90.0, 95.0): (50.0, 70.0, 90.0)}
    for beyond, end in ends.items():
        assert basis(np.array(beyond)) == pytest.approx(basis(np.array(end)))
        inside = 0.999 * np.array(end)
        assert basis(inside) != pytest.approx(basis(np.array(end)), abs=1e-6) or not any(end)


def test_a_field_by_hand():
    """Patches of one colour, L* 60 and grey: only the constant counts. Its value is sum(w miss) / (sum(w) + ridge)."""
    lab = np.tile([60.0, 0.0, 0.0], (3, 1))
    miss = np.array([[1.0, 0.0, 2.0], [3.0, 0.0, 2.0], [5.0, 0.0, 2.0]])
    sd = np.array([0.0, SD_HALF, 3.0 * SD_HALF])  # counts whole, half, a tenth
    trusted = np.array([1.0, 0.5, 1.0])
    share = np.array([1.0, 0.25, 0.1])
    field = ink_field(lab, miss, sd, trusted)
    assert field[0] == pytest.approx((share @ miss) / (share.sum() + RIDGE))
    assert field[1:] == pytest.approx(np.zeros((9, 3)))


def test_a_field_of_a_slope_by_hand():
    """Greys at L* 30 and 90 (-1 and 1): the constant and L*, LL alike the constant, so both take half of it."""
    lab = np.array([[30.0, 0.0, 0.0], [90.0, 0.0, 0.0]])
    field = ink_field(lab, np.array([[1.0, 0, 0], [5.0, 0, 0]]), np.zeros(2), np.ones(2))
    assert field[[0, 4], 0] == pytest.approx(2 * 3.0 / (4.0 + RIDGE))  # 2 x mean over both terms' 2 + 2 + ridge
    assert field[1, 0] == pytest.approx(2 * 2.0 / (2.0 + RIDGE))


def test_modes_step_from_inks_to_dyes():
    from_ink, to_dye = modes()
    assert from_ink.shape == to_dye.shape == (len(from_ink), 10, 3)
    field = np.random.default_rng(2).normal(size=(10, 3))
    by_hand = sum(float((pick * field).sum()) * dye for pick, dye in zip(from_ink, to_dye, strict=True))
    assert dye_field(field) == pytest.approx(by_hand)
