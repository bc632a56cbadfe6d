"""The pH gate just inside and just outside each of its limits, worked by hand from the band and the rules of the gate.

The band is pH 6 to 8 throughout; every wash is read once unless a case says otherwise.
"""

from dataclasses import replace

import pytest

from service.bench.gates.judge import judge
from service.bench.procedure import Stage
from tests.bench_arithmetic.test_procedure import _ph, _seen, _stage, _tint

STAGE = _stage("ph_neutral", band=(6.0, 8.0))
AGAIN = replace(_ph(7.5, 0.3, 2), at="2026-03-01T02:30:00")


def _blank(ph, half=0.3):
    return _ph(ph, half, 0, blank=True)


def _rinse(ph, hour):
    return replace(_ph(ph, 0.3, hour), part=1)


@pytest.mark.parametrize(
    ("entries", "state"),
    [
        ([_ph(8.0, 0.5, 1), _ph(7.5, 0.3, 2)], "open"),
        ([_ph(8.1, 0.5, 1), _ph(7.5, 0.3, 2)], "cannot tell"),  # the first to read neutral after the lye
        ([_ph(8.1, 0.5, 1), _ph(7.5, 0.3, 2), AGAIN], "open"),  # a second strip of that wash says so too
    ],
)
def test_the_first_neutral_wash_after_the_lye_is_read_twice(entries, state):
    assert judge(STAGE, entries).state == state


@pytest.mark.parametrize(
    ("course", "state"),
    [
        ((5.1, 7.0), "open"),  # moved by 1.9: 2 in one wash is no leap yet
        ((4.9, 7.0), "cannot tell"),
        ((3.9, 4.9, 6.4), "open"),  # 1 pH a wash before: up to 1.3 x 1 + 0.3 = 1.6
        ((3.9, 4.9, 6.6), "cannot tell"),
    ],
)
def test_a_leap_beside_the_rinse_water_is_read_twice(course, state):
    washes = [_ph(ph, 0.3, wash) for wash, ph in enumerate(course, start=1)]
    assert judge(STAGE, [_blank(course[-1]), *washes]).state == state


@pytest.mark.parametrize(
    ("last", "blank", "state"),
    [
        (_rinse(7.9, 2), 7.9, "cannot tell"),  # 8.2 is over the band, and oxide left in the powder holds 8.7
        (_rinse(7.9, 2), 8.1, "open"),  # the rinse water is over it by itself
        (_rinse(7.6, 2), 7.6, "open"),
        (_ph(7.9, 0.3, 2), 7.9, "open"),  # no lye was there
    ],
)
def test_over_the_band_after_the_lye_the_rinse_water_is_no_excuse(last, blank, state):
    before = replace(_ph(7.5, 0.3, 1), part=last.part)
    assert judge(STAGE, [_blank(blank), before, last]).state == state


@pytest.mark.parametrize(("number", "words"), [(None, "The last pH reading has"), (5, "Entry 5 has")])
def test_a_reading_without_a_wash_number_is_asked_about_by_name(number, words):
    assert judge(STAGE, [replace(_ph(7.0, 0.3), wash=None, entry=number)]).sentence.startswith(words)


def test_entries_of_this_stage_are_found_by_their_number():
    entries = [replace(_ph(ph, 0.3, wash), entry=wash) for wash, ph in ((1, 6.8), (2, 7.0))]
    assert judge(STAGE, entries).state == "open"


def test_a_rinse_water_that_does_not_count_is_named_where_the_wash_is_outside():
    found = judge(STAGE, [_ph(7.0, 0.3, 0, blank=True, status="doubtful"), _ph(3.0, 0.3, 1)])
    assert found.state == "hold"
    assert 'rinse water\'s own reading says "look twice"' in found.sentence


@pytest.mark.parametrize(("number", "words"), [(None, ("A copper test", "a copper test")), (7, ("Entry 7", "entry 7"))])
def test_copper_tests_out_of_order_are_asked_about_by_name(number, words):
    """Wash 2 was tested at 3 o'clock after wash 3 at 2 o'clock."""
    tests = [replace(_tint("none seen", hour), wash=wash, entry=number) for hour, wash in ((1, 1), (2, 3), (3, 2))]
    found = judge(_stage("tint_none"), tests)
    assert found.sentence.startswith(words[0])
    assert f"was taken after {words[1]}" in found.sentence


def test_a_stage_without_a_measurement_is_left_to_the_person():
    found = judge(Stage(id="s", title="S"), [_seen(1, {"kind": "ph", "ph": 7.0, "interval": [6.7, 7.3]})])
    assert found.state == "cannot tell"
    assert "Nothing is measured here" in found.sentence
