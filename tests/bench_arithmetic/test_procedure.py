"""Procedures as data, and their gates."""

from __future__ import annotations

import tomllib
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.bench.gates.copper import Metal, copper_ppm
from service.bench.gates.judge import Surroundings, judge
from service.bench.gates.weight import Weighing
from service.bench.procedure import SHIPPED, Stage, load_procedure, parse_procedure
from service.bench.readings import Observation, logged
from service.bench.stages.gate_kinds import GATES, NEUTRAL
from stripread.errors import CallError


def _stage(kind, **settings):
    return Stage(id="s", title="S", read=("ph",), gate=GATES[kind](**settings))


def _seen(hour, reading, **more):
    return Observation(f"2026-03-01T{hour:02d}:00:00", logged(reading), **more)


def _ph(ph, half, hour=1, blank=False, strip_range=(0.0, 14.0), **more):
    """A reading of the wash of this hour."""
    reading = {"kind": "ph", "ph": ph, "interval": [ph - half, ph + half], **more}
    return _seen(hour, reading, blank=blank, strip_range=strip_range, wash=None if blank else hour)


SHOWN = {"wash": "acid", "ammonia_excess": "yes", "ammonia_ph": 10.0, "flakes": "no", "dilution": 1.2}


def _tint(decision, hour, limit=9.0, status="ok", taken=SHOWN):
    """A test of the wash of this hour."""
    reading = {"kind": "tint", "decision": decision, "detection_limit": limit, "status": status, "taken": taken}
    return _seen(hour, reading, wash=hour)


ENOUGH = Surroundings(Metal(500.0, 0.1))


def _weight(grams, hour, scale=0.01):
    return Weighing(f"2026-03-01T{hour:02d}:00:00", grams, scale)


@pytest.mark.parametrize("name", SHIPPED)
def test_shipped_procedures_load_and_warn(name):
    found = load_procedure(name)
    assert len(found.stages) >= 4
    assert found.after(found.stages[-1].id) is None
    assert found.after(found.stages[0].id) == found.stages[1]
    assert all(stage.cautions for stage in found.stages)
    for stage in found.stages:
        if "tint" in stage.read:  # silver with ammonia: the caution stands beside the step
            assert any("explosive" in caution for caution in stage.cautions)
    assert "drain" not in found.text.lower()


def test_one_neutral_band_from_the_procedure_of_the_batch():
    text = """
    [[stage]]
    id = "wash"
    title = "W"
    [[stage]]
    id = "acid"
    title = "A"
    gate = {kind = "ph_neutral", band = [5.0, 7.5]}
    [[stage]]
    id = "lye"
    title = "L"
    gate = {kind = "ph_neutral", band = [6.5, 9.0]}
    [[stage]]
    id = "dry"
    title = "D"
    """
    found = parse_procedure(text)
    assert [found.band(name) for name in ("wash", "acid", "lye", "dry")] == [
        (5.0, 7.5), (5.0, 7.5), (6.5, 9.0), (6.5, 9.0)
    ]  # fmt: skip
    assert parse_procedure('[[stage]]\nid = "a"\ntitle = "A"').band("a") == NEUTRAL


def test_an_own_file(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text('name = "mine"\n[[stage]]\nid = "a"\ntitle = "A"\n', encoding="utf-8")
    assert load_procedure(path).stages[0].gate.kind == "by_hand"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("x = [", "not valid TOML"),
        ("x = 1", "no \\[\\[stage\\]\\]"),
        ('[[stage]]\nid = "a"', "title is missing"),
        ('[[stage]]\nid = "a"\ntitle = "A"\nread = ["smell"]', "can't read 'smell'"),
        ('[[stage]]\nid = "a"\ntitle = "A"\ngate = {kind = "luck"}', "kind must be one of"),
        ('[[stage]]\nid = "a"\ntitle = "A"\ngate = {kind = "pale_below", share = -1}', "can't be -1"),
        ('[[stage]]\nid = "a"\ntitle = "A"\ngate = {kind = "ph_neutral", band = [8, 6]}', "band can't be"),
        ('[[stage]]\nid = "a"\ntitle = "A"\ngate = {kind = "pale_below", ppm = 1}', "has no 'ppm'"),
        ('[[stage]]\nid = "a"\ntitle = "A"\ncaution = []', "unknown key 'caution'"),
        ('[[stage]]\nid = "a"\ntitle = "A"\n[[stage]]\nid = "a"\ntitle = "B"', "same id"),
    ],
)
def test_a_broken_procedure_names_what_is_wrong(text, says):
    with pytest.raises(CallError, match=says):
        parse_procedure(text)


def test_no_such_procedure_or_stage():
    with pytest.raises(CallError, match="shipped ones"):
        load_procedure("nowhere")
    with pytest.raises(CallError, match="no stage"):
        load_procedure(SHIPPED[0]).stage("polish")


@given(st.text(max_size=200))
def test_any_text_loads_or_is_refused(text):
    try:
        parse_procedure(text)
    except CallError:
        return
    assert tomllib.loads(text)


# --- gates


@pytest.mark.parametrize(
    ("entries", "state"),
    [
        ([], "cannot tell"),
        ([_ph(7.0, 0.3)], "cannot tell"),
        ([_ph(6.0, 0.3, 1), _ph(7.0, 0.3, 2)], "open"),
        ([_ph(3.0, 0.3, 1), _ph(7.0, 0.3, 2)], "cannot tell"),
        ([_ph(6.0, 0.3, 1), _ph(7.0, 0.3, 1)], "cannot tell"),
        ([_ph(6.9, 0.3, 2), _ph(6.8, 0.3, 1, blank=True)], "open"),
        ([_ph(4.1, 0.3, 2), _ph(4.0, 0.3, 1, blank=True)], "hold"),
        ([_ph(6.9, 0.3, 2), _ph(4.0, 0.3, 1, blank=True)], "cannot tell"),
        ([_ph(7.0, 0.3, 1), _ph(3.0, 0.3, 2)], "cannot tell"),
        ([_ph(3.0, 0.3, 1), _ph(4.0, 0.3, 2)], "hold"),
        ([_ph(6.1, 0.3)], "cannot tell"),
        ([_ph(5.6, 0.3)], "hold"),
        ([_ph(5.6, 0.3, 2), _ph(5.7, 0.3, 1, blank=True)], "open"),
        ([_ph(4.6, 0.3, 2), _ph(5.7, 0.3, 1, blank=True)], "hold"),
        ([_ph(5.2, 0.9, 2), _ph(5.7, 0.9, 1, blank=True)], "cannot tell"),
        ([_ph(7.0, 0.3, status="doubtful")], "cannot tell"),
        ([_ph(7.0, 0.3, status="refused")], "cannot tell"),
    ],
)
def test_neutral_gate(entries, state):
    found = judge(_stage("ph_neutral"), entries)
    assert found.state == state
    assert found.sentence.endswith(".")


ENDED = [{"code": "end_of_range", "message": "Whatever it says in words."}]


@pytest.mark.parametrize(
    ("ph", "half", "strip_range", "interval"),
    [
        (7.4, 0.2, (6.0, 7.6), (7.2, 14.0)),
        (6.2, 0.2, (6.0, 7.6), (0.0, 6.4)),
        (6.2, 0.18, (6.0, 7.6), (0.0, 6.38)),  # as near as the strip's own grid
        (7.0, 0.2, None, (0.0, 14.0)),  # its profile is lost: either end
        (7.0, 0.2, (0.0, 14.0), (0.0, 14.0)),  # it stands at no end of the profile's range: either end
    ],
)
def test_a_strip_at_its_end_is_open_beyond_whatever_its_message_says(ph, half, strip_range, interval):
    seen = _ph(ph, half, strip_range=strip_range, reasons=ENDED)
    assert seen.open_interval() == pytest.approx(interval)
    before = _ph(7.0, 0.2, 0)
    assert judge(_stage("ph_neutral"), [before, _ph(ph, half, strip_range=strip_range)]).state == "open"
    assert judge(_stage("ph_neutral"), [before, seen]).state == "cannot tell"


@pytest.mark.parametrize(
    ("entries", "state"),
    [
        ([_tint("none seen", 1)], "hold"),
        ([_tint("none seen", 1), _tint("none seen", 2)], "open"),
        ([_tint("none seen", 1), replace(_tint("none seen", 2), wash=1)], "hold"),
        ([_tint("none seen", 1), replace(_tint("none seen", 2), wash=None)], "cannot tell"),
        ([_tint("none seen", 3), replace(_tint("none seen", 4), wash=2)], "cannot tell"),
        ([_tint("copper", 1), _tint("none seen", 2)], "hold"),
        ([_tint("copper", 1), _tint("none seen", 2), _tint("none seen", 3)], "open"),
        ([_tint("none seen", 1), _tint("copper", 2)], "hold"),
        ([_tint("none seen", 1), _tint("undecided", 2)], "cannot tell"),
        ([_tint("none seen", 1), _tint("none seen", 2, status="doubtful")], "cannot tell"),
        ([_tint("none seen", 1), _tint("none seen", 2, limit=None)], "cannot tell"),
        ([_tint("none seen", 1), _tint("none seen", 2, limit=900.0)], "hold"),
    ],
)
def test_tint_gate(entries, state):
    assert judge(_stage("tint_none"), entries, around=ENOUGH).state == state


@pytest.mark.parametrize(
    ("told", "says"),
    [
        ({"ammonia_ph": None}, "dip a strip"),
        ({"flakes": "unknown"}, "flakes"),
        ({"flakes": "yes"}, "too little ammonia"),
        ({"ammonia_ph": 9.4}, "too little ammonia"),
        ({"ammonia_ph": 2.0}, "still acid"),
        ({"ammonia_excess": "no"}, "too little ammonia"),
        ({"dilution": None}, "diluted"),
        ({"dilution": 1.0}, "diluted"),  # a drop without its ammonia
        ({"wash": "unknown"}, "the batch's water"),
        ({"wash": "neutral", "water": "hard"}, "slightly acid"),
    ],
)
def test_one_thing_of_the_test_left_out_shuts_the_copper_gate(told, says):
    entries = [_tint("none seen", 1), _tint("none seen", 2, taken={**SHOWN, **told})]
    found = judge(_stage("tint_none"), entries, around=ENOUGH)
    assert found.state == "cannot tell"
    assert says in found.sentence


def test_what_the_copper_test_left_out_is_asked_for_at_once():
    bare = {**SHOWN, "ammonia_ph": None, "flakes": "unknown", "dilution": None}
    said = judge(_stage("tint_none"), [_tint("none seen", 1, taken=bare)], around=ENOUGH).sentence
    assert "dip a strip into the drop (9.5 or more), say whether flakes float, give the sample's mL" in said


def test_a_word_for_acid_counts_only_until_a_strip_says_otherwise():
    entries = [_tint("none seen", 1), _tint("none seen", 2)]
    assert judge(_stage("tint_none"), entries, around=ENOUGH).state == "open"
    neutral = [replace(_ph(6.5, 0.3, hour), at=f"2026-03-01T0{hour}:10:00") for hour in (1, 2)]
    assert judge(_stage("tint_none"), entries + neutral, around=ENOUGH).state == "cannot tell"
    soft = replace(ENOUGH, water="soft")
    assert judge(_stage("tint_none"), entries + neutral, around=soft).state == "open"


def test_drops_that_cannot_have_taken_up_the_acid_are_doubted():
    # 1 mol/L acid, a fiftieth of the volume added: not even 14.8 mol/L ammonia takes that up.
    entries = [_tint("none seen", 1), _tint("none seen", 2, taken={**SHOWN, "dilution": 1.02})]
    strong = [_ph(0.0, 0.3, 2)]
    assert "taken up the acid" in judge(_stage("tint_none"), entries + strong, around=ENOUGH).sentence


def test_tint_gate_in_hard_water_never_opens_by_the_liquid_alone():
    neutral = {**SHOWN, "wash": "neutral"}
    entries = [_tint("none seen", 1, taken=neutral), _tint("none seen", 2, taken=neutral)]
    found = judge(_stage("tint_none"), entries, around=replace(ENOUGH, water="hard"))
    assert found.state == "cannot tell"
    assert "solid" in found.sentence


def test_copper_limit_by_hand():
    # 9 mg/L in 0.1 L that dries into half a kilogram: 1.8 mg/kg.
    assert copper_ppm(9.0, 0.1, 500.0) == pytest.approx(1.8)
    assert judge(_stage("tint_none"), [_tint("none seen", 1), _tint("none seen", 2)]).state == "cannot tell"


@pytest.mark.parametrize(
    ("interval", "state"), [((0.001, 0.005), "open"), ((0.005, 0.02), "cannot tell"), ((0.02, 0.05), "hold")]
)
def test_pale_gate(interval, state):
    entry = _seen(1, {"kind": "solid", "pale_fraction": sum(interval) / 2, "pale_interval": list(interval)})
    assert judge(_stage("pale_below"), [entry]).state == state


@pytest.mark.parametrize(
    ("entries", "state"),
    [
        ([_weight(100.0, 1)], "cannot tell"),
        ([_weight(100.2, 1), _weight(100.15, 3)], "open"),
        ([_weight(103.0, 1), _weight(100.0, 3)], "hold"),
        ([_weight(100.0, 1), _weight(100.0, 1)], "hold"),
        ([_weight(100.0, 1, 1.0), _weight(100.0, 3, 1.0)], "cannot tell"),
    ],
)
def test_weight_gate(entries, state):
    assert judge(_stage("weight_constant"), [], entries).state == state


@given(st.floats(0.0, 14.0), st.floats(0.05, 2.0))
def test_a_neutral_gate_opens_only_if_the_whole_interval_is_inside(ph, half):
    found = judge(_stage("ph_neutral"), [_ph(7.0, 2.0, 0), _ph(ph, half)])
    assert (found.state == "open") == (ph - half >= 6.0 and ph + half <= 8.0)
