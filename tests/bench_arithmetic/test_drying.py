"""Drying to an end: the forecast by hand-made courses, the tolerance, the step of the scale, the gate held."""

import math

import pytest

from service.bench.drying.at_stage import drying_of, not_open_over_water
from service.bench.drying.forecast import drying_forecast
from service.bench.gates.verdict import Verdict
from service.bench.gates.weight import Weighing, judge_weight, within_of
from service.bench.notes import Note, checked
from service.bench.procedure import load_procedure
from service.bench.quantities import step_typed
from service.bench.stages.gate_kinds import WeightConstant
from service.bench.state import state_of
from service.bench.state_view import state_view
from tests.drying_study import figures, study

GATE = WeightConstant(within_g=0.05, within_share=0.001, hours=1.0)


def _at(hours):
    return f"2026-03-01T{8 + int(hours):02d}:{round(hours % 1 * 60):02d}:00"


def _series(*pairs, scale=0.01, **more):
    return tuple(Weighing(_at(hours), grams, scale, "powder", **more) for hours, grams in pairs)


def _exponential(hours, dry=200.0, water=20.0, tau=1.0):
    return [(h, round(dry + water * math.exp(-h / tau), 2)) for h in hours]


# 200 g, 20 g of water, τ 1 h: 0.2 g are left after ln(100) = 4.605 h, 20·exp(-3) = 1.0 g at 3 h (by hand).
def test_a_course_by_the_formula_is_foretold():
    found = drying_forecast(_series(*_exponential([0, 0.5, 1, 1.5, 2, 2.5, 3])), 0.2)
    assert found.status == "ok"
    low, hours, high = found.hours
    assert low < 1.605 < high
    assert high - low > 0.05 * hours  # however fine the scale, the oven drifts
    assert hours == pytest.approx(1.605, abs=0.35)
    assert found.water_g[0] < 20 * math.exp(-3) < found.water_g[2]
    assert found.water_g[1] == pytest.approx(20 * math.exp(-3), abs=0.25)
    assert "more of drying" in found.sentence
    assert "g of water" in found.sentence


def test_the_end_of_the_course_is_dry():
    found = drying_forecast(_series(*_exponential([0, 1, 2, 3, 5, 7, 9])), 0.2)
    assert found.status == "done"
    assert found.hours[:2] == (0.0, 0.0)


@pytest.mark.parametrize(
    ("weighings", "words"),
    [
        (_series(), "Three weights"),
        (_series((0, 210.0), (1, 205.0)), "Three weights"),
        (_series((0, 210.0), (1, 205.0), (2, 0.0)), "Three weights"),  # 0 g is none
        (_series((0, 210.0), (0, 209.0), (1, 205.0)), "Three weights"),  # two at one time
        (_series((0, 210.0), (1, 205.0), (2, 203.0), scale=None), "how far the scale is right"),
        (_series((0, 200.0), (1, 205.0), (2, 212.0), (3, 220.0)), "does not fall as a drying does"),
        (_series((0, 210.0), (1, 205.0), (2, 290.0), (3, 203.0), (4, 202.0)), "Was the dish tared"),
    ],
)
def test_it_says_where_it_cannot_tell(weighings, words):
    found = drying_forecast(weighings, 0.2)
    assert (found.status, found.hours, found.water_g) == ("cannot tell", None, None)
    assert words in found.sentence


def test_an_even_rate_gives_a_range_only():
    found = drying_forecast(_series((0, 240.0), (0.5, 235.0), (1, 230.0), (1.5, 225.0)), 0.2)
    assert found.status == "wide"
    assert found.hours[2] > 3 * found.hours[0]


def test_powder_and_bar_are_two_series():
    powder = _series(*_exponential([0, 1, 2, 3]))
    bar = (Weighing(_at(5), 199.0, 0.01, "silver"), Weighing(_at(7), 199.0, 0.01, "silver"))
    assert drying_forecast([*powder, *bar], 0.2).status == "cannot tell"
    assert judge_weight(GATE, [*powder[-1:], *bar[:1]]).state == "cannot tell"


@pytest.mark.parametrize(
    ("grams", "doubt", "within"), [(10.0, 0.01, 0.02), (10.0, 0.1, 0.05), (10.0, None, 0.05), (500.0, 0.01, 0.5)]
)
def test_the_tolerance_goes_with_the_batch_and_the_scale(grams, doubt, within):
    assert within_of(GATE, grams, doubt) == pytest.approx(within)


def test_nothing_weighed_twice_is_no_constant_weight():
    found = judge_weight(GATE, _series((0, 0.0), (2, 0.0)))
    assert found.state == "cannot tell"
    assert "tare the empty dish" in found.sentence
    assert judge_weight(GATE, _series((0, 100.0), (2, 0.0))).state == "cannot tell"


@pytest.mark.parametrize(
    ("text", "step"),
    [("195.20 g", 0.01), ("195,2", 0.1), ("42", 1.0), ("0.50 kg", 10.0), ("many", None), ("1e3", None)],
)
def test_the_digits_typed_tell_the_step(text, step):
    assert step_typed(text) == (None if step is None else pytest.approx(step))


def test_the_step_counts_where_nobody_said_how_far_the_scale_is_right():
    assert checked("weight", {"of": "powder", "grams": "195.20 g"}).fields()["step_g"] == pytest.approx(0.01)
    assert "step_g" not in checked("weight", {"of": "powder", "grams": "195.20 g", "scale_g": 0.1}).fields()
    assert "step_g" not in checked("weight", {"of": "powder", "grams": 195.2}).fields()
    assert "step_g" not in checked("weight", {"of": "chloride", "grams": "195.20 g"}).fields()
    fine, coarse = (_series((0, 20.0), (2, 20.0), scale=None, step_g=step) for step in (0.01, 1.0))
    assert judge_weight(GATE, fine).state == "open"
    assert "write all that it shows" in judge_weight(GATE, coarse).sentence


def _state(*pairs):
    notes = [Note(checked("procedure", {"text": load_procedure("chloride_lye_sugar").text}), _at(0), 1)]
    notes += [Note(checked("move", {"to": "dry", "state": "open", "sentence": "x"}), _at(0), 2)]
    for n, (hours, grams) in enumerate(pairs, 3):
        data = {"of": "powder", "grams": grams, "scale_g": 0.01}
        notes.append(Note(checked("weight", data, in_log=True), _at(hours), n))
    return state_of(notes, [])


def test_the_state_and_its_json_have_the_forecast():
    assert _state().drying is None
    seen = state_view(_state(*_exponential([0, 0.5, 1, 1.5, 2, 2.5, 3]))).drying
    assert seen.status == "ok"
    assert len(seen.hours) == len(seen.water_g) == 3


def test_a_weight_that_stands_still_over_water_does_not_open_the_gate():
    """The oven was off for seven hours: two weights agree, and 2 g of water are in it."""
    course = _exponential([0, 0.4, 0.8, 1.2, 1.6, 2.0, 2.3])
    paused = _state(*course, (9.3, course[-1][1]))
    assert paused.verdict.state == "hold"
    assert "was it drying" in paused.verdict.sentence
    dried = _state(*_exponential([0, 0.5, 1, 2, 3, 5, 6, 9, 11]))
    assert dried.verdict.state == "open"


def test_the_gate_is_held_only_over_more_than_counts():
    course = drying_of(GATE, _series(*_exponential([0, 0.5, 1, 1.5, 2, 2.5, 3])), "en")
    opened = Verdict("open", "constant")
    assert not_open_over_water(opened, course).state == "hold"
    assert not_open_over_water(opened, None) is opened
    dry = drying_of(GATE, _series(*_exponential([0, 1, 2, 3, 5, 7, 9])), "en")
    assert not_open_over_water(opened, dry) is opened


def test_made_up_dryings_are_foretold_as_well_as_promised():
    """Some dryings of another world than the model's; docs/chemistry.md has a thousand."""
    found = figures(study(12, seed=1))
    assert found["whole time within 20 %"] >= 0.85
    assert found["hours inside their 90 % range"] >= 0.85
    assert found["water inside its 90 % range"] >= 0.85
    assert found["a time said, of those still wet"] >= 0.25
