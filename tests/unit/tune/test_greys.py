"""Tuning of the grey's numbers: each reaches its constant, and what is refused counts as the widest interval."""

import pytest

from stripread.errors import Refused
from stripread.reasons import because
from stripread.solid import estimate, grey, outline
from stripread.tuned import tuned
from tests.tune import greys
from tests.tune.engine import replaced


@pytest.mark.parametrize("name", greys.TUNINGS)
def test_every_name_stands_for_its_own_constant(name):
    inside = name in greys.IN_GREY
    module, constant = (grey, greys.IN_GREY[name]) if inside else (outline, greys.IN_OUTLINE[name])
    stored = tuned(greys.PACKAGE).entries[name].value
    assert getattr(module, constant) == pytest.approx(stored)


def test_a_number_that_two_modules_hold_is_replaced_in_both(monkeypatch):
    seen = {}

    def read(heap, outlined):
        seen.update(here=grey.SPECKS_LEAST, there=estimate.SPECKS_LEAST)
        return (0.1, 0.3), True

    monkeypatch.setattr(greys, "_read", read)
    heap = greys.Heap(None, None, None, 0.35)
    got = greys.judge(heap, "SPECKS_LEAST", 0.5, outlined=False)
    assert seen == {"here": 0.5, "there": 0.5}
    assert grey.SPECKS_LEAST != 0.5
    assert got["interval score"] == pytest.approx(0.2 + 2 * 40 * 0.05)
    assert got["intervals that hold the truth"] == 0.0


def test_what_is_refused_may_be_anything(monkeypatch):
    def refuse(*_):
        raise Refused(because("no_solid", "nothing there"))

    monkeypatch.setattr(greys, "sample_solid", refuse)
    got = greys.judge(greys.Heap(None, None, None, 0.35), "GREY_TOP", 0.5, outlined=True)
    assert (got["width"], got["read without a doubt"]) == (1.0, 0.0)
    with replaced(outline, "GREY_TOP", 0.5):
        assert outline.GREY_TOP == 0.5
