"""Faded inks: told by what cyan and magenta have lost, and not where the card is as it was or was never asked."""

import numpy as np
import pytest

from calibration.card_estimate import estimate_card
from stripread.correction import fading, verdicts
from stripread.correction.fading import coloured_ink, has_faded, ink_lost
from stripread.correction.fit import fix_colour
from stripread.correction.verdicts import doubts_of_fix
from stripread.errors import Refused
from stripread.reasons import because
from tests.tune import fading as tune
from tests.tune.fading import samples_of

SETUP = 700


@pytest.fixture(scope="module")
def card():
    return estimate_card([samples_of(SETUP, n, 77, phone=SETUP) for n in range(12)])


def look(card, draw, faded):
    samples = samples_of(SETUP, draw, 95, faded=faded)
    return samples, fix_colour(samples, card)


def test_greys_hold_no_coloured_ink_and_full_colours_do():
    ink = coloured_ink()
    assert ink.min() == 0.0
    assert ink.max() > 0.7
    assert (ink.min(axis=1) == 0.0).all()


def test_ink_lost_grows_with_fading_magenta_first(card):
    new, old = (
        np.mean([ink_lost(look(card, n, f)[1], look(card, n, f)[0], card) for n in range(4)], axis=0) for f in (0, 1)
    )
    assert np.abs(new[:2]).max() < 0.12
    assert old[1] - new[1] > 0.2
    assert old[1] > old[0] > new[0]


@pytest.mark.parametrize(
    ("lost", "told"),
    [
        ((0.15, 0.21, 0.0), True),
        ((0.15, 0.19, 0.0), False),
        ((0.30, 0.29, 0.0), False),
        ((0.10, 0.40, 0.41), False),
        ((-0.06, 0.40, -0.3), True),
    ],
)
def test_fading_takes_magenta_most(lost, told):
    assert has_faded(np.array(lost)) is told


def test_a_card_that_fits_badly_is_asked_and_told_as_faded(card, monkeypatch):
    monkeypatch.setattr(verdicts, "OTHER_CARD", 99.0)
    monkeypatch.setattr(verdicts, "PERHAPS_FADED", 0.1)
    messages = [
        [reason.message for reason in doubts_of_fix(fix, samples, card) if reason.code == "other_card"]
        for samples, fix in (look(card, 1, 1.0), look(card, 1, 0.0))
    ]
    assert "its magenta has faded since" in messages[0][0]
    assert messages[1] == []


def test_a_card_that_fits_well_is_not_asked(card, monkeypatch):
    monkeypatch.setattr(verdicts, "card_misfit", lambda *_: verdicts.PERHAPS_FADED)
    monkeypatch.setattr(verdicts, "ink_lost", lambda *_: pytest.fail("three fits for nothing"))
    samples, fix = look(card, 1, 0.0)
    assert not [r for r in doubts_of_fix(fix, samples, card) if r.code == "other_card"]


def test_a_fit_that_fails_with_other_values_accuses_nobody(card, monkeypatch):
    def refuse(*_):
        raise Refused(because("patches_unusable", "too few"))

    monkeypatch.setattr(verdicts, "card_misfit", lambda *_: 2.0)
    monkeypatch.setattr(fading, "fix_colour", refuse)
    samples, fix = look(card, 1, 0.0)
    assert not [r for r in doubts_of_fix(fix, samples, card) if r.code == "other_card"]


def test_the_tuning_judges_by_the_readers_own_rule():
    old = tune.Look(1.8, 0.2, 0.3, 0.1)
    assert tune.told(old)
    assert not tune.told(old, perhaps=1.9)
    assert not tune.told(old, least=0.6)
    assert not tune.told(tune.Look(1.8, 0.2, 0.3, 0.4))
    assert tune.told(tune.Look(9.0, -1.0, -1.0, 0.0))
