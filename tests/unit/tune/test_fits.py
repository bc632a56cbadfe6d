"""Each kind of fit finds the number that made the data: misses are drawn from the reader's own model at another value.

Seeds are fixed. Tolerances are about three standard errors of the fit, seen by drawing anew with other seeds.
"""

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from stripread.correction import residual
from stripread.ph.curve import Lot
from stripread.ph.posterior import FREEDOM
from tests.tune import blanks, cards, dye_doubts, heaps, lots, profiles
from tests.tune.engine import replaced

PROFILE = Path(__file__).resolve().parents[3] / "service" / "demo" / "profile.toml"


@cache
def one_setup():
    return dye_doubts.draw(701)


@cache
def two_bottles(setup):
    return lots.draw(setup)


def misses_by(setup, rng):
    """The setup with each strip's misses one draw of Student's t from what the reader now states."""
    known = setup.learned.plain + dye_doubts.correction_fit.INK_SHARE * setup.learned.ink_shift
    photos = []
    for photo in setup.photos:
        shift, cov = photo.fix.left_over(photo.pads.rgb, photo.pads.at_mm, dye=True)
        whole, lab = photo.cov + cov, known - shift
        for strip in setup.strips:
            block = slice(3 * strip.start, 3 * strip.stop)
            tail = np.sqrt(FREEDOM / rng.chisquare(FREEDOM))
            size = block.stop - block.start
            draw = tail * np.linalg.cholesky(whole[block, block]) @ rng.standard_normal(size)
            lab[strip] += draw.reshape(-1, 3)
        photos.append(replace(photo, lab=lab))
    return replace(setup, photos=photos, learned=replace(setup.learned, cov=0.0 * setup.learned.cov))


def test_foreign_colourant_is_found_again():
    setups, true = [], 1.5
    with replaced(residual, "FOREIGN_COLOURANT", true):
        for n in range(4):
            setups.append(misses_by(one_setup(), np.random.default_rng(n)))
    tuning = dye_doubts.TUNINGS["foreign_colourant"]
    assert tuning.fit(setups) == pytest.approx(true, rel=0.3)
    inside = np.mean([tuning.judge(setup, true)["in their 95 % region"] for setup in setups])
    assert inside == pytest.approx(0.95, abs=0.03)  # of 384 strips: 0.011 is a standard deviation
    assert np.mean([tuning.judge(setup, 0.05 * true)["in their 95 % region"] for setup in setups]) < inside


def test_no_miss_is_left_where_the_shift_foretells_it():
    setup = one_setup()
    known = setup.learned.plain + dye_doubts.correction_fit.INK_SHARE * setup.learned.ink_shift
    shifts = [photo.fix.left_over(photo.pads.rgb, photo.pads.at_mm, dye=True)[0] for photo in setup.photos]
    assert min(np.abs(shift).max() for shift in shifts) > 0.1  # CIELAB
    photos = [replace(photo, lab=known - shift) for photo, shift in zip(setup.photos, shifts, strict=True)]
    square, _, size = dye_doubts.squares(replace(setup, photos=photos))
    assert square.max() < 1e-9
    assert sorted(set(size)) == [3.0, 9.0, 12.0]  # pads of one, three and four colours


def test_the_learner_and_the_others_agree_on_the_colours():
    setup = one_setup()
    known = setup.learned.plain + dye_doubts.correction_fit.INK_SHARE * setup.learned.ink_shift
    assert len(known) == setup.strips[-1].stop
    typical = np.median([np.abs(photo.lab - known).mean() for photo in setup.photos])
    assert 0.2 < typical < 5.0  # CIELAB: neither the same photo twice nor another strip


def test_the_spread_of_bottles_is_found_again():
    rng, lot = np.random.default_rng(3), Lot(shift=0.12, load=0.05, lightness=0.45)
    made = []
    for n in (0, 1, 0, 1):
        bottles = two_bottles(n)
        labs = []
        for curve, ph, lab in zip(bottles.curves, bottles.ph, bottles.lab, strict=True):
            cov = replace(curve, lot=lot).strip_cov(ph) + curve.scatter_cov()
            draw = np.einsum("sij,sj->si", np.linalg.cholesky(cov), rng.standard_normal((len(ph), cov.shape[1])))
            labs.append(curve.curve(ph) + draw.reshape(lab.shape))
        made.append(replace(bottles, lab=tuple(labs)))
    assert lots.TUNINGS["lot_shift"].fit(made) == pytest.approx(0.12, rel=0.15)
    square = np.mean([lots.judged(bottles, lot)["square a dimension"] for bottles in made])
    assert square == pytest.approx(1.0, abs=0.15)


def test_bottles_are_two():
    bottles = two_bottles(1)
    miss = np.concatenate(
        [(lab - c.curve(ph)).ravel() for c, ph, lab in zip(bottles.curves, bottles.ph, bottles.lab, strict=True)]
    )
    assert 0.3 < np.sqrt(np.mean(miss**2)) < 5.0  # CIELAB


def test_the_limit_for_copper_leaves_one_blank_in_a_thousand():
    rng = np.random.default_rng(1)
    signals = 0.2 + 0.8 * rng.standard_normal(4000)
    pairs = [blanks.Pair(float(s), 4.0, np.ones(3), np.eye(3)) for s in signals]
    assert blanks.fit_called(pairs) == pytest.approx(0.2 + 0.8 * 3.0902, abs=0.1)  # 3.0902: any table of the normal
    judged = blanks.judge_called(blanks.Pair(3.0, 4.0, np.ones(3), np.eye(3)), 3.5)
    assert judged == {"blanks called": 0.0, "faint copper called": 1.0}


def test_the_grey_of_like_vials_is_found_again():
    rng = np.random.default_rng(2)
    cov = 0.004**2 * np.eye(3)
    pairs = []
    for _ in range(400):
        ratio = 1.0 + 0.05 * rng.standard_normal() + rng.multivariate_normal(np.zeros(3), cov)
        pairs.append(blanks.Pair(0.0, 0.0, ratio, cov))
    assert blanks.fit_grey(pairs) == pytest.approx(0.05, rel=0.12)
    assert np.mean([blanks.judge_grey(p, 0.05)["square a dimension"] for p in pairs]) == pytest.approx(1.0, abs=0.15)


def test_grey_is_one_factor_of_all_channels():
    """By hand: 3 x 0.05^2 / (0.004^2 + 3 x 0.05^2), a third of it a dimension."""
    pair = blanks.Pair(0.0, 0.0, np.full(3, 1.05), 0.004**2 * np.eye(3))
    assert blanks.judge_grey(pair, 0.05)["square a dimension"] == pytest.approx(0.0075 / 0.007516 / 3.0)


def test_quantiles_within_and_beyond_the_data():
    rng = np.random.default_rng(4)
    many, few = (np.exp(0.3 * rng.standard_normal(n)) for n in (100_000, 200))
    true = float(np.exp(0.3 * 2.5758))  # 0.995: any table of the normal
    assert cards.quantile(tuple(many), 0.995) == pytest.approx(true, rel=0.02)
    assert cards.quantile(tuple(few), 0.9995) == pytest.approx(float(np.exp(0.3 * 3.2905)), rel=0.2)


def test_verdicts_of_cards_leave_their_share():
    rng = np.random.default_rng(5)
    made = [
        cards.Misfits(tuple(0.2 * np.exp(0.3 * rng.standard_normal(100))), tuple(rng.uniform(0.5, 1.0, 50)))
        for _ in range(40)
    ]
    assert cards.TUNINGS["typical"].fit(made) == pytest.approx(0.2, rel=0.03)
    limit = cards.TUNINGS["other_card"].fit(made)
    judged = [cards.TUNINGS["other_card"].judge(setup, limit) for setup in made]
    assert np.mean([j["own cards taken for another"] for j in judged]) == pytest.approx(1 / 100, abs=0.001)
    assert np.mean([j["another printer's noticed"] for j in judged]) > 0.95
    light = [cards.DyesOff(setup.own, setup.another) for setup in made]
    limit = cards.TUNINGS["dyes_off"].fit(light)
    doubted = [cards.TUNINGS["dyes_off"].judge(setup, limit)["doubted in ordinary light"] for setup in light]
    assert np.mean(doubted) == pytest.approx(4 / 1000, abs=0.001)


def test_intervals_of_heaps_are_scored_by_width_and_miss(monkeypatch):
    class Estimate:
        interval = (0.10, 0.14)

    monkeypatch.setattr(heaps, "estimate_solid", lambda sample, fix: Estimate)
    held = heaps.judge(heaps.Heap(None, None, 0.12, 0.08), "EDGE_SD", 0.05)
    assert held == pytest.approx({"interval score": 0.4, "width": 0.4, "intervals that hold the truth": 1.0})
    missed = heaps.judge(heaps.Heap(None, None, 0.15, 0.08), "EDGE_SD", 0.05)
    assert missed == pytest.approx({"interval score": 0.4 + 40 * 0.1, "width": 0.4, "intervals that hold the truth": 0})


def test_heaps_take_the_value_with_the_least_score(monkeypatch):
    def judge(heap, constant, value):
        return {"interval score": abs(value - heap)}

    monkeypatch.setattr(heaps, "judge", judge)
    assert heaps.TUNINGS["edge_sd"].fit([0.07, 0.09]) == 0.08


def test_a_profile_is_widened_as_the_usual_says():
    from stripread.ph import quality
    from stripread.ph.profile import load_profile

    profile = load_profile(PROFILE)
    profile = replace(profile, quality=replace(profile.quality, chi_square=1.3))
    setup = profiles.Setup(profile, (), ())
    before = profile.quality.doubt_scale
    same = profiles.rescaled(setup, before).profile.strip
    assert np.allclose(same.cov_factor, profile.strip.cov_factor)
    with replaced(quality, "USUAL_CHI_SQUARE", 0.3):
        assert profile.quality.doubt_scale > before
        ratio = profile.quality.doubt_scale / before
        wider = profiles.rescaled(setup, before).profile.strip
    assert np.allclose(wider.cov_factor @ wider.cov_factor.transpose(0, 2, 1), ratio * same._cov)
    assert np.allclose(wider.scatter_cov(), ratio * same.scatter_cov())


def test_readings_are_worth_most_where_they_are_right():
    from stripread.ph.profile import load_profile
    from stripread.strip.pads import PadSet

    profile = load_profile(PROFILE)
    pads = profile.strip.pads
    lab, cov = profile.curve(np.array([4.0]))[0], np.eye(3 * pads)
    seen = PadSet(lab, cov, {"noise": cov}, np.zeros((pads, 4, 2)), ())
    right, wrong = (profiles.judged(profiles.Setup(profile, (seen,), (ph,))) for ph in (4.0, 6.5))
    assert right["intervals that hold it"] == 1.0
    assert wrong["intervals that hold it"] == 0.0
    assert wrong["log density at the true pH"] < 0.0 < right["log density at the true pH"]
    assert wrong["log density at the true pH"] >= np.log(profiles.LEAST_DENSITY)
