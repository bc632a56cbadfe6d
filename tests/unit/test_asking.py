"""Which readings are asked about before they count; and that a clean washing is hardly ever asked about."""

import pytest

from service.bench.asking.readings import SAME_WASH_S, Bench, asked_of_reading, proposed_wash
from service.bench.procedure import load_procedure
from service.bench.readings import LoggedPh, LoggedSolid, LoggedTint, Observation
from service.bench.washing.phases import CurvePoint, WashForecast

PROCEDURE = load_procedure("chloride_lye_sugar")
ACID, LYE = PROCEDURE.stage("acid-wash"), PROCEDURE.stage("lye-sugar")
AT = "2026-05-12T10:{:02d}:00+00:00"


def _ph(ph, wash, minute, half=0.3, **more):
    reading = LoggedPh(ph=ph, interval=(ph - half, ph + half), **more)
    return Observation(AT.format(minute), reading, wash, strip_range=(0.0, 14.0), entry=100 + minute)


def _codes(new, *counted, stage=ACID, **more):
    return [question.code for question in asked_of_reading(new, Bench(stage, counted, **more))]


WASHED = (_ph(1.2, 1, 0), _ph(2.1, 2, 10))


@pytest.mark.parametrize(
    ("new", "codes"),
    [
        (_ph(3.0, 3, 20), []),
        (_ph(10.1, 3, 20), ["jump"]),  # lye among acid
        (_ph(1.0, 3, 20), ["jump"]),  # back behind wash 2
        (_ph(2.9, 12, 20), ["jump"]),  # twelve for two
        (_ph(2.2, 2, 20), []),  # the same again
        (_ph(3.2, 2, 20), ["same_wash"]),  # the number did not move
        (_ph(2.2, 2, 31), ["same_wash"]),  # 21 minutes later
        (_ph(10.1, 3, 20, status="refused"), []),  # it has no value that could count
        (_ph(10.1, None, 20), []),  # of no wash
    ],
)
def test_a_reading_against_the_washes_before(new, codes):
    assert _codes(new, *WASHED) == codes


def test_the_question_says_both_numbers_and_names_the_entry():
    (asked,) = asked_of_reading(_ph(10.1, 3, 20), Bench(ACID, (_ph(5.0, 3, 10),)))
    assert asked.sentence == "pH 10.1 after 5.0 in one wash (wash 3): another vessel? wrong wash?"
    assert asked.about == (110,)
    assert (asked.choices[0].do, asked.choices[0].wash) == ("wash", 4)


def test_a_kind_that_the_stage_does_not_read():
    assert _codes(_ph(7.0, 3, 20), stage=LYE) == ["wrong_kind"]
    solid = Observation(AT.format(0), LoggedSolid(pale_fraction=0.1, pale_interval=(0.05, 0.2)))
    assert (_codes(solid), _codes(solid, stage=LYE)) == (["wrong_kind"], [])
    assert _codes(Observation(AT.format(0), LoggedTint(decision="none seen"))) == []


def test_a_wash_that_was_poured_off_before():
    assert _codes(_ph(2.1, 2, 20), *WASHED, poured_off={2: AT.format(15)}) == ["poured_off"]
    assert _codes(_ph(2.1, 2, 14), *WASHED, poured_off={2: AT.format(15)}) == []  # taken before, sent later


@pytest.mark.parametrize(("ph", "codes"), [(3.0, []), (3.8, []), (4.4, ["off_forecast"]), (4.4, [])])
def test_the_forecast_has_room_or_not(ph, codes):
    band = 6.0 if (ph, codes) == (4.4, []) else 3.4
    foretold = WashForecast("ok", "", curve=(CurvePoint(3, 3.0, 2.6, band),))
    assert _codes(_ph(ph, 3, 20), *WASHED, forecast=foretold) == codes


def test_the_number_proposed_never_runs_ahead_of_the_bench():
    assert proposed_wash([], (), AT.format(0)) == 1
    assert proposed_wash(WASHED, (), AT.format(15)) == 2  # a second strip of it may come
    assert proposed_wash(WASHED, {2}, AT.format(15)) == 3
    assert proposed_wash(WASHED, {1}, AT.format(15)) == 2
    assert proposed_wash(WASHED, (), AT.format(10 + int(SAME_WASH_S / 60) + 1)) == 3
    refused = _ph(3.0, 3, 20, status="refused")
    assert proposed_wash((*WASHED, refused), (), AT.format(21)) == 2
