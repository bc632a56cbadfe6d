"""Matched cells: a second photo takes out what two vials and their places differ by, and nothing of the copper."""

from dataclasses import replace

import numpy as np
import pytest

from stripread.tint.cells import FEWEST_PATCHES, HOURS, SecondPhoto, lamp_shift, matched
from stripread.tint.cells_age import hours_between
from stripread.tint.estimate import estimate_tint
from stripread.tint.sample import CELL_SD, CELLS, scaled_cov
from tests.unit.tint.test_estimate import sample_of

COPPER = np.array([0.90, 0.97, 1.0])  # what some copper leaves of each channel
GLASS = np.array([1.008, 0.995, 0.985])  # one vial's over the other's
PLACE = np.array([0.99, 1.004, 1.012])  # one window's over the other's
SD = 0.002


def pair(ratio, *, sd=SD):
    """A photo's ratio with an error of its own in each channel, and with what like vials are taken to differ by."""
    parts = {"noise": scaled_cov(sd**2 * np.eye(3), ratio), CELLS: scaled_cov(CELL_SD**2 * np.eye(3), ratio)}
    return replace(sample_of(ratio), ratio=np.asarray(ratio), parts=parts, cov=sum(parts.values(), np.zeros((3, 3))))


def test_a_cell_blank_takes_out_glass_and_place():
    found, how, doubts = matched(pair(COPPER * GLASS * PLACE), SecondPhoto("blank", pair(GLASS * PLACE)))
    assert (how, doubts) == ("blank", [])
    assert found.ratio == pytest.approx(COPPER)
    assert CELLS not in found.parts


def test_swapped_takes_out_the_place_and_leaves_the_glass():
    second = SecondPhoto("swapped", pair(PLACE / (COPPER * GLASS)))
    found, how, doubts = matched(pair(COPPER * GLASS * PLACE), second)
    assert (how, doubts) == ("swapped", [])
    assert found.ratio == pytest.approx(COPPER * GLASS)
    assert found.parts[CELLS] == pytest.approx(np.diag((CELL_SD * found.ratio) ** 2))


@pytest.mark.parametrize("matching", ["blank", "swapped"])
def test_the_covariance_is_that_of_drawn_photos(matching):
    """Absolute size against 20,000 draws of both photos' noise: standard error of a variance 1 %, bound 5 of them."""
    rng = np.random.default_rng(4)
    one = COPPER * PLACE
    other = PLACE if matching == "blank" else PLACE / COPPER
    errors = rng.normal(0.0, SD, (2, 20_000, 3))
    drawn = one * (1 + errors[0]) / (other * (1 + errors[1]))
    drawn = drawn if matching == "blank" else np.sqrt(drawn)
    found = matched(pair(one), SecondPhoto(matching, pair(other)))[0]
    own = found.cov - found.parts.get(CELLS, 0.0)
    assert np.diag(own) == pytest.approx(drawn.var(axis=0), rel=0.05)
    assert np.abs(np.corrcoef(drawn.T) - np.eye(3)).max() < 0.05
    assert own == pytest.approx(np.diag(np.diag(own)))


def test_vials_that_differ_are_not_copper_and_a_cell_blank_lowers_the_limit():
    rng = np.random.default_rng(8)
    called = 0
    for _ in range(500):  # as they are assumed to be; one in a thousand may be called: 5 once in 5,900 seeds
        cells = np.exp(rng.normal(0.0, CELL_SD, 3) + rng.normal(0.0, 0.015))
        called += estimate_tint(pair(cells * np.exp(rng.normal(0.0, SD, 3)))).decision == "copper"
    assert called < 5
    alone = estimate_tint(pair(np.ones(3))).detection_limit
    with_blank = estimate_tint(matched(pair(np.ones(3)), SecondPhoto("blank", pair(np.ones(3))))[0]).detection_limit
    assert with_blank < 0.6 * alone


def test_a_sample_whose_paper_is_hidden_is_left_as_it_is():
    hidden = replace(pair(COPPER), hidden="sample")
    found, how, _ = matched(hidden, SecondPhoto("blank", pair(PLACE)))
    assert how == "none"
    assert found is hidden


@pytest.mark.parametrize("matching", ["blank", "swapped"])
def test_the_library_hands_each_second_photo_on_as_what_it_is(matching, monkeypatch):
    """A mix-up would change copper's figures silently."""
    from stripread import library

    told = []
    monkeypatch.setattr(library, "measure_cells", lambda data, how: told.append((data, how)))
    photo = {"cell_blank": b"second"} if matching == "blank" else {"swapped": b"second"}
    library._second_photo(**{"cell_blank": None, "swapped": None, **photo})
    assert told == [(b"second", matching)]


@pytest.mark.parametrize("second", [{"age_h": 8.5}, {"changed": True}])
def test_a_doubted_second_photo_is_left_out(second):
    one = pair(COPPER)
    found, how, doubts = matched(one, SecondPhoto("blank", pair(GLASS), **second))
    assert (how, len(doubts)) == ("none", 1)
    assert found is one


def test_the_photos_own_times_go_before_the_logs():
    def doubts(tint_at, **second):
        return [r.code for r in matched(pair(COPPER), SecondPhoto("blank", pair(GLASS), **second), tint_at)[2]]

    assert doubts("2026-05-12T18:00:00", taken_at="2026-05-12T10:30:00", age_h=99.0) == []
    assert doubts("2026-05-12T18:00:00", taken_at="2026-05-12T09:30:00", age_h=0.1) == ["cells_old"]
    assert doubts("2026-05-12T09:30:00", taken_at="2026-05-12T18:00:00") == ["cells_old"]  # taken afterwards
    for own in (None, "soon", "2026-05-12T10:30:00+02:00"):  # no time, or one that can't be compared
        assert doubts("2026-05-12T18:00:00", taken_at=own, age_h=9.0) == ["cells_old"]
        assert doubts("2026-05-12T18:00:00", taken_at=own) == []
    assert HOURS == {"blank": 8.0, "swapped": 1.0}
    assert hours_between("2026-05-12T10:00:00", "2026-05-12T09:30:00") == pytest.approx(0.5)


def test_another_lamp_is_told_by_colours_and_not_by_white_or_brightness():
    rng = np.random.default_rng(5)
    card = rng.uniform(-2.5, 0.0, (60, 3))
    balance = np.log([0.5, 0.5, 0.6]) + rng.normal(0.0, 0.1, (60, 1))  # another white balance, shade over the card
    assert lamp_shift(card, card + balance) == pytest.approx(0.0, abs=1e-12)
    spectrum = np.outer(rng.permutation(np.linspace(-1.0, 1.0, 60)), [0.1, -0.1, 0.0])  # each ink answers otherwise
    assert lamp_shift(card, card + spectrum) == pytest.approx(0.8 * 0.1 * np.sqrt(2.0), rel=0.05)
    hidden = card.copy()
    hidden[FEWEST_PATCHES - 1 :] = np.nan
    assert lamp_shift(card, hidden) is None
    assert lamp_shift(card, np.zeros((0, 3))) is None
