"""Pictures that show no card, by others: all refused, with a reason, in time. They are those that packages ship."""

from collections import Counter

import pytest

from tests.no_card import escapes, pictures, readings

PICTURES = pictures()
READ = readings()
FEW = ("coins.png", "page.png", "brick.png", "clock_motion.png")  # small ones, quick to read


def test_there_are_pictures():
    assert len(PICTURES) >= 25


@pytest.mark.parametrize("name", FEW)
def test_some_of_them_are_refused(name):
    path = next(p for p in PICTURES if p.name == name)
    told: Counter[str] = Counter()
    assert escapes(path, READ, told)[0] == []
    assert sum(told.values()) == 3


@pytest.mark.slow  # each of them, read three times
@pytest.mark.parametrize("picture", PICTURES, ids=lambda p: p.name)
def test_a_picture_without_a_card_is_refused(picture):
    assert escapes(picture, READ, Counter())[0] == []
