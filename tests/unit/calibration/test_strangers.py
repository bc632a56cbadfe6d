"""Strangers among a calibration's photos are named, each with what to do, and right photos are left in peace."""

from dataclasses import replace

import numpy as np
import pytest

from calibration.liquids.warmth import moved_by, odd_warmth, warmth_question
from calibration.strangers.look import suspected
from calibration.strangers.one_liquid import apart
from calibration.strangers.other_print import other_prints
from calibration.strangers.suspicion import in_words
from tests.strangers_study import photographed
from tests.unit.calibration.toystrips import Toy, photos

PH = [1.2, 4.0, 6.9, 9.2]  # too few for a curve to accuse anybody


def of_other_make(known, i):
    other = photos(Toy.random(77), [known[i].ph], 1, seed=3)[0]
    return [replace(k, lab=other.lab) if n == i else k for n, k in enumerate(known)]


@pytest.fixture(scope="module")
def cards():
    """Patches of eight photos of one print, and of the same eight of another."""
    ph = [value for value in PH for _ in range(2)]
    return [
        [photographed(3000, n, value, "made-up", print_seed=seed).samples for n, value in enumerate(ph)]
        for seed in (3000, 23_000)
    ]


def test_photos_of_one_print_are_left_in_peace(cards):
    assert other_prints(cards[0]) == []


def test_one_photo_of_another_print_is_named(cards):
    own, other = cards
    assert other_prints([*own[:5], other[5], *own[6:]]) == [(5,)]


def test_a_second_print_from_some_photo_on_is_named(cards):
    own, other = cards
    assert other_prints(own[:5] + other[5:]) == [(5, 6, 7)]


def test_few_photos_have_no_print_in_common(cards):
    own, other = cards
    assert other_prints([*own[:6], other[6]]) == []


def test_a_photo_of_another_print_is_not_blamed_on_its_liquid_too(cards):
    own, other = cards
    known = of_other_make(photos(Toy.random(5), PH, 2, seed=5), 5)
    found = suspected(known, [*own[:5], other[5], *own[6:]], (0.0, 14.0))
    assert [(one.way, one.photos) for one in found] == [("other_print", (5,))]
    assert "5.jpg: shows another print of the card" in in_words(found[0], known)
    assert "Take it out" in in_words(found[0], known)


def test_strips_of_one_bottle_go_together():
    assert [apart(photos(Toy.random(seed), PH, 3, seed=seed)) for seed in range(8)] == [[]] * 8


def test_a_strip_of_another_make_among_few_liquids_is_named_with_its_pair():
    known = of_other_make(photos(Toy.random(5), PH, 2, seed=5), 3)
    (found,) = apart(known)
    assert (found.way, found.photos, found.said) == ("apart", (2, 3), (4.0, 4.0))
    sentence = in_words(found, known, [f"liquid {n // 2}" for n in range(len(known))])
    assert sentence.startswith("2.jpg, 3.jpg: said to be of one liquid, liquid 1,")
    assert "Dip a new strip" in sentence


def test_of_three_photos_the_odd_one_is_named_alone():
    known = of_other_make(photos(Toy.random(5), PH, 3, seed=5), 4)
    assert [one.photos for one in apart(known)] == [(4,)]


def test_what_the_curve_accuses_is_not_accused_again(cards):
    ph = np.array([1.2, 2.4, 4.0, 5.2, 6.9, 8.1, 9.2, 10.3])
    known = of_other_make(photos(Toy.random(1), ph, 2, seed=1), 5)
    found = suspected(known, [], (0.0, 13.0))
    assert sum(5 in one.photos for one in found) == 1


@pytest.mark.parametrize(
    ("temp_c", "asked"),
    [(20.0, ""), (10.0, ""), (35.0, ""), (68.0, "68 °F would be 20 °C"), (60.0, "60 °F would be 16 °C")],
)
def test_a_temperature_that_no_room_has_is_asked_about(temp_c, asked):
    question = warmth_question(temp_c)
    assert bool(question) == bool(asked)
    assert asked in question


@pytest.mark.parametrize("temp_c", [4.0, 40.0, 96.0])
def test_what_is_no_fahrenheit_of_a_room_either(temp_c):
    assert "as warm as the room" in warmth_question(temp_c)


def test_a_liquid_said_warmer_than_its_neighbours_is_asked_about_where_its_ph_tells():
    # Bates, Bower and Smith, J. Res. NBS 56, 305 (1956), abstract: limewater falls by 0.033 a degree.
    assert moved_by("limewater", 20.0, 30.0) == pytest.approx(0.33, abs=0.02)
    usual = [("a.jpg", "phthalate", 20.0), ("b.jpg", "vinegar", 20.0), ("c.jpg", "limewater", 20.0)]
    assert odd_warmth(usual) == []
    assert odd_warmth([*usual, ("d.jpg", "phthalate", 30.0)]) == []  # moves by 0.01
    (question,) = odd_warmth([*usual, ("d.jpg", "limewater", 30.0), ("e.jpg", "limewater", 30.0)])
    assert question.startswith("d.jpg: limewater")
    assert "most others at 20 °C" in question
    assert odd_warmth([("x.jpg", "pH 7", None)]) == []
    assert len(odd_warmth([(f"{n}.jpg", "borax", 68.0) for n in range(3)])) == 1
    assert len(odd_warmth([("a.jpg", "limewater", 20.0), ("b.jpg", "borax", 90.0)])) == 1  # 90 °C makes nobody else odd
