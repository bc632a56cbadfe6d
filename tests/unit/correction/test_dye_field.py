"""How dyes are off is told from how the inks are off."""

from dataclasses import replace

import numpy as np
import pytest

from stripread.card.values import nominal_values
from stripread.colour import rgb_to_lab
from stripread.correction.dye_field import INK_SHARE, basis, dye_field, ink_field, modes
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
