"""Another card is noticed, the same card is not doubted: on made-up cards, and (slow) on rendered photos."""

from dataclasses import replace

import numpy as np
import pytest

from calibration.card_estimate import estimate_card
from stripread.card.find import CardTrace, find_card
from stripread.card.layout import layout
from stripread.card.values import CardValues
from stripread.correction import verdicts
from stripread.correction.fit import fix_colour
from stripread.correction.same_card import card_misfit
from tests.scenes.photo import render
from tests.scenes.printer import Printer
from tests.scenes.scene import random_scene
from tests.unit.correction.test_fit import KNOWN, PRINTED, photo


def misfit(samples, values=KNOWN):
    return card_misfit(fix_colour(samples, values), samples, values)


def codes(samples, values):
    return {r.code for r in verdicts.doubts_of_fix(fix_colour(samples, values), samples, values)}


def test_the_same_card_fits_under_any_phone_and_light():
    worst = max(misfit(photo(seed)) for seed in range(40))
    assert worst < verdicts.OTHER_CARD
    assert "other_card" not in codes(photo(1), KNOWN)


def test_uneven_ink_is_noticed_though_each_patch_moves_little():
    rng = np.random.default_rng(3)
    other = PRINTED * np.exp(rng.normal(0, 0.2, (len(PRINTED), 1)))
    assert all(misfit(photo(seed, rgb=other)) > verdicts.OTHER_CARD for seed in range(6))
    assert "other_card" in codes(photo(1, rgb=other), KNOWN)


def test_things_lying_on_the_card_are_no_other_card():
    samples = photo(2)
    rgb = samples.rgb.copy()
    rgb[20:30] = [0.6, 0.45, 0.4]  # a hand
    assert misfit(replace(samples, rgb=rgb)) < verdicts.OTHER_CARD


def test_nothing_is_said_where_too_little_is_seen():
    samples = photo(2)
    few = replace(samples, usable=np.arange(len(PRINTED)) % 3 == 0)
    assert np.isnan(misfit(few))
    assert "other_card" not in codes(few, KNOWN)


def test_values_nobody_measured_on_this_card_accuse_no_card():
    nominal = CardValues(KNOWN.rgb, KNOWN.sd, "nominal")
    strange = photo(1, rgb=np.roll(PRINTED, 5, axis=0))
    assert "other_card" in codes(strange, KNOWN)
    assert "other_card" not in codes(strange, nominal)


def _samples(seed, **fixed):
    trace = CardTrace()
    find_card(render(random_scene(np.random.default_rng([seed, 41]), **fixed)).data, trace)
    return trace.samples


@pytest.mark.slow
@pytest.mark.thorough
def test_rendered_cards_are_told_apart(monkeypatch):
    own = {"printer_seed": 412, "sheet_seed": 412}
    card = estimate_card([_samples(n, phone_seed=1, **own) for n in range(8)])
    assert len(card.rgb) == len(layout().patches)
    same = [misfit(_samples(100 + n, **own), card) for n in range(8)]
    other = [misfit(_samples(200 + n, printer_seed=500 + n, sheet_seed=n), card) for n in range(6)]
    assert max(same) < verdicts.OTHER_CARD
    assert sorted(other)[1] > verdicts.OTHER_CARD  # 9 in 10 are noticed: one of six may look alike

    plain = Printer.sheet

    def faded(self, seed):
        sheet = plain(self, seed)
        # dyes fade unevenly, magenta first (common practice, no source)
        return replace(sheet, inks=sheet.inks * np.array([0.75, 0.5, 0.75, 0.95])[:, None])

    monkeypatch.setattr(Printer, "sheet", faded)
    assert all(misfit(_samples(300 + n, **own), card) > verdicts.OTHER_CARD for n in range(3))
