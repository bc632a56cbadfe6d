"""The rinse with acid after the lye: only where no oxide is left, and the forecast goes on across it."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import pytest

from service.bench.chemistry.water import aired_water, liquid_ph
from service.bench.course import course_of
from service.bench.gates.judge import Surroundings, judge
from service.bench.gates.neutral import wash_reading
from service.bench.gates.oxide import judge_oxide, oxide_lightness
from service.bench.notes import Note, checked
from service.bench.procedure import load_procedure, parse_procedure
from service.bench.readings import Observation, logged
from service.bench.stages.gate_kinds import NoOxide
from service.bench.state import state_of
from service.bench.washing.parts import breaks, part_of
from service.bench.washing.phases import forecast

GATE = NoOxide(test="oxide")
SINCE = "2026-03-01T06:00:00"
MOVED = ("neutral-wash", "lye-sugar", "lye-wash")


def _at(minutes):
    return f"2026-03-01T{6 + minutes // 60:02d}:{minutes % 60:02d}:00"


def _ph(wash, ph, minutes, half=0.2):
    data = {"kind": "ph", "ph": ph, "interval": [ph - half, ph + half]}
    return Observation(_at(minutes), logged(data), wash, strip_range=(0.0, 14.0), entry=minutes)


def _solid(lightness, minutes=200, pale=(0.0, 0.0, 0.002), reasons=(), sd=2.0):
    doubtful = any(code != "fits_description" for code in reasons)
    data = {"kind": "solid", "lab": [lightness, 0.0, 3.0], "sd": [sd, 4.0, 4.0], "pale_fraction": pale[1],
            "pale_interval": [pale[0], pale[2]], "status": "doubtful" if doubtful else "ok",
            "reasons": [{"code": code, "severity": "doubt", "message": "x"} for code in reasons]}  # fmt: skip
    return Observation(_at(minutes), logged(data), entry=minutes)


def _note(kind, minutes, **data):
    return Note(checked(kind, data), _at(minutes), minutes)


CLEAN = [_ph(10, 12.4, 10), _ph(11, 10.6, 40), _ph(12, 8.4, 70), _ph(13, 7.2, 100)]


def _judged(washes, *more, notes=()):
    return judge_oxide(GATE, [*washes, *more], (), notes, SINCE, 0.0)


def test_grey_powder_and_washes_that_went_on_open_it():
    found = _judged(CLEAN, _solid(52.0))
    assert found.state == "open"
    assert "none is seen" in found.sentence
    # Even grey leaves the pale share open; how light the powder is stands all the same.
    assert _judged(CLEAN, _solid(52.0, pale=(0.0, 0.05, 0.3), reasons=["grey_part"])).state == "open"


def test_washes_that_stood_still_where_oxide_holds_them_keep_acid_out():
    with (Path(__file__).parents[1] / "data" / "stall.csv").open() as f:
        rows = list(csv.reader(f))
    assert any("10.1" in cell for row in rows for cell in row)  # PHREEQC: oxide in pure water
    held = [_ph(10, 12.4, 10), _ph(11, 10.2, 40), _ph(12, 10.1, 70), _ph(13, 10.1, 100)]
    for later in ([], [_ph(14, 8.2, 130), _ph(15, 7.2, 150)]):  # the picture may be grey, and the pH fall since
        found = _judged([*held, *later], _solid(52.0))
        assert found.state == "hold"
        assert "as silver oxide holds them" in found.sentence
        assert "back to chloride" in found.sentence
    # More lye and sugar went in since: what stood still was before.
    notes = [_note("used", 120, what="lye (NaOH)", grams=10)]
    procedure = load_procedure("chloride_lye_sugar")
    begins = breaks(notes, procedure)
    every = [*held, _ph(14, 12.0, 130), _ph(15, 9.9, 140), _ph(16, 7.3, 150)]
    every = [replace(o, part=part_of(o.at, begins)) for o in every]
    assert judge_oxide(GATE, [*every, _solid(52.0)], (), notes, SINCE, 0.0).state == "open"
    early = judge_oxide(GATE, [*every, _solid(52.0, 110)], (), notes, SINCE, 0.0)
    assert early.state == "cannot tell"  # the picture was taken before the lye


def test_a_last_wash_at_nine_to_ten_is_no_proof():
    found = _judged(CLEAN[:2], _solid(52.0))
    assert found.state == "hold"
    assert "no acid yet" in found.sentence
    assert _judged([], _solid(52.0)).state == "cannot tell"


def test_hard_water_that_is_as_alkaline_by_itself_leaves_it_to_the_picture():
    washes = [*CLEAN[:2], _ph(12, 8.9, 70), _ph(13, 8.8, 100)]
    own = replace(_ph(None, 8.7, 5, half=0.3), blank=True)
    assert _judged([own, *washes], _solid(52.0)).state == "open"
    assert _judged([own, *washes], _solid(22.0)).state == "cannot tell"
    assert _judged(washes, _solid(52.0)).state == "hold"  # of soft water 8.8 is not its own


@pytest.mark.parametrize(
    ("solid", "state", "words"),
    [
        (None, "cannot tell", "No picture"),
        (_solid(oxide_lightness() + 1.0), "cannot tell", "dark"),  # within its doubt of the oxide's
        (_solid(20.6), "cannot tell", "pinches"),
        (_solid(52.0, pale=(0.05, 0.08, 0.1)), "hold", "chloride is left"),
        (_solid(52.0, reasons=["some_glare"]), "cannot tell", "take it again"),
    ],
)
def test_a_picture_opens_only_where_it_shows_silver(solid, state, words):
    found = _judged(CLEAN, *([] if solid is None else [solid]))
    assert (found.state, words in found.sentence) == (state, True)


def test_dark_powder_passes_by_two_pinches_and_one_cloud_shuts_it():
    def pinch(found, minutes):
        return _note("named_test", minutes, name="Oxide", found=found)

    dark = _solid(22.0)
    assert _judged(CLEAN, dark, notes=[pinch("no", 210)]).state == "cannot tell"
    assert _judged(CLEAN, dark, notes=[pinch("no", 210), pinch("no", 220)]).state == "open"
    assert _judged(CLEAN, dark, notes=[pinch("no", 210), pinch("unsure", 220), pinch("no", 230)]).state == "cannot tell"
    assert _judged(CLEAN, _solid(60.0), notes=[pinch("no", 210), pinch("yes", 220)]).state == "hold"
    sugar = _note("used", 230, what="glucose", grams=5)
    assert _judged(CLEAN, _solid(22.0, 240), notes=[pinch("no", 210), pinch("no", 220), sugar]).state == "cannot tell"


def test_the_stages_after_the_lye():
    route = load_procedure("chloride_lye_sugar")
    assert [s.id for s in route.stages][3:] == ["lye-wash", "acid-rinse", "last-wash", "dry", "melt"]
    assert route.past("lye-wash") is route.stage("dry")  # soft water: no rinse
    assert route.past("acid-rinse") is None  # but what met acid is washed
    around = Surroundings(every=CLEAN, since=SINCE)
    assert judge(route.stage("lye-wash"), [*CLEAN, _solid(52.0)], (), around).state == "open"
    assert judge(route.stage("lye-wash"), [*CLEAN], (), around).state == "cannot tell"


def test_a_batch_of_the_procedure_before_keeps_it():
    notes = [_note("move", 1, to="lye-wash", state="open", sentence="x")]
    assert [s.id for s in course_of(notes).procedure.stages][3:] == ["lye-wash", "dry", "melt"]
    old = load_procedure("chloride_lye_sugar").text.replace("optional = true\n", "")
    assert parse_procedure(old).past("lye-wash") is None


def _washings():
    """Acid, lye, acid again, each washing by the model of the dilution table: pH after each of its washes."""
    water = aired_water()
    for first, sign in ((1.0, 1), (1.0, -1), (0.1, 1)):
        left = [first * 0.1**n for n in range(1, 7)]
        shares = [min(0.9, x) for x in left]
        phs = [float(liquid_ph(sign * x, share, water, 0.3)) for x, share in zip(left, shares, strict=True)]
        yield phs


def test_the_forecast_crosses_acid_lye_and_acid_again():
    """Numbers run on through all three washings; in none is the answer "check the wash numbers"."""
    notes, seen, wash, clock = [], [], 0, 0
    route = load_procedure("chloride_lye_sugar")
    notes.append(Note(checked("procedure", {"text": route.text}), _at(0), 1))
    for turn, phs in enumerate(_washings()):
        clock += 10
        if turn == 1:
            notes += [_note("move", clock + k, to=to, state="open", sentence="x") for k, to in enumerate(MOVED)]
        if turn == 2:
            notes += [_note("move", clock, to="acid-rinse", state="open", sentence="x"),
                      _note("acid_rinse", clock + 2, acid_mol=0.1, oxide_silver_g=0.0),
                      _note("move", clock + 14, to="last-wash", state="open", sentence="x")]  # fmt: skip
            clock += 10
        for n, ph in enumerate(phs, 1):
            wash, clock = wash + 1, clock + 20
            seen.append(_ph(wash, round(ph, 2), clock))
            begins = breaks(notes, route)
            parted = [replace(o, part=part_of(o.at, begins)) for o in seen]
            found = forecast([wash_reading(o) for o in parted], aired_water())
            assert "wash number" not in found.message
            if n >= 3:
                assert found.status in ("ok", "done"), (turn, n, found.message)
                assert found.kind == ("lye" if turn == 1 else "acid")
    rinse_water = replace(_ph(None, 5.6, clock), blank=True)
    state = state_of(notes, [*seen, rinse_water], 0.0, "air")
    assert state.stage.id == "last-wash"
    assert state.verdict.state == "open", state.verdict.sentence


def test_the_rinse_itself_opens_the_last_washes():
    route = load_procedure("chloride_lye_sugar")
    came = _note("move", 10, to="acid-rinse", state="open", sentence="x")
    rinse = _note("acid_rinse", 12, acid_mol=0.1, oxide_silver_g=0.0)
    start = Note(checked("procedure", {"text": route.text}), _at(0), 1)
    assert state_of([start, came], [], now=_at(60)).verdict.state == "cannot tell"
    assert state_of([start, came, rinse], [], now=_at(15)).verdict.state == "hold"
    assert state_of([start, came, rinse], [], now=_at(23)).verdict.state == "open"


def test_the_page_is_told_of_the_way_past_and_an_open_gate_alone_leads_there(tmp_path):
    """Over HTTP: with no reason past the rinse only where the gate before it is open."""
    from fastapi.testclient import TestClient

    from service.web.app import create_app
    from tests.server.conftest import settings_in

    with TestClient(create_app(settings_in(tmp_path))) as client:
        batch = client.post("/api/batches", json={"name": "x", "procedure": "chloride_lye_sugar"}).json()["id"]
        path = f"/api/batches/{batch}"
        client.post(f"{path}/stage", json={"to": "lye-wash", "reason": "made up"})
        assert client.get(f"{path}/bench").json()["past_optional"] is None
        assert client.post(f"{path}/stage", json={"to": "dry"}).status_code == 409
        client.post(f"{path}/stage", json={"to": "last-wash", "reason": "made up"})
        assert client.post(f"{path}/stage", json={"to": "melt"}).status_code == 409


def _state(washes, *more, notes=()):
    """In the lye wash, by everything that was written down."""
    moves = [_note("move", n, to=to, state="open", sentence="x") for n, to in enumerate(MOVED)]
    return state_of([*moves, *notes], [*washes, *more], 0.0).verdict


def test_lye_or_acid_since_the_last_wash_makes_its_ph_old():
    clean = [_ph(10, 12.4, 10), _ph(11, 10.6, 40), _ph(12, 8.4, 70), _ph(13, 7.2, 100), _ph(14, 7.1, 110)]
    grey = _solid(52.0, 200)
    assert _state(clean, grey).state == "open"
    for what in ("lye (NaOH)", "Natronlauge", "sosa cáustica"):
        again = _state(clean, grey, notes=[_note("used", 120, what=what), _note("used", 121, what="Zucker")])
        assert (again.state, "read a wash since" in again.sentence) == ("cannot tell", True), what
    moved = [_note("move", 300, to="acid-rinse", state="open", sentence="x")]
    moved += [_note("move", 301, to="last-wash", state="open", sentence="x")]
    last = [_ph(15, 3.2, 310), _ph(16, 5.2, 330), _ph(17, 6.6, 350), _ph(18, 6.7, 370)]
    notes = [*moved, _note("acid_rinse", 308, acid_mol=0.05, oxide_silver_g=0)]
    assert _state(clean, grey, *last, notes=notes).state == "open"
    again = _state(clean, grey, *last, notes=[*notes, _note("acid_rinse", 400, acid_mol=0.5, oxide_silver_g=0)])
    assert (again.state, "read a wash since" in again.sentence) == ("cannot tell", True)


@pytest.mark.parametrize("what", ["fructose", "honey", "Natronlauge", "Lauge", "grandfather's powder"])
def test_a_picture_is_older_than_what_went_in_after_it(what):
    found = _judged(CLEAN, _solid(52.0, 110), notes=[_note("used", 120, what=what)])
    assert (found.state, "No picture" in found.sentence) == ("cannot tell", True)
    assert _judged(CLEAN, _solid(52.0, 110), notes=[_note("used", 120, what="hot water 2 l")]).state == "open"


def test_what_a_pinch_found_is_not_undone_by_the_next():
    grey = _solid(60.0)

    def judged(*found):
        pinches = [_note("named_test", 210 + n, name="oxide", found=one) for n, one in enumerate(found)]
        return _judged(CLEAN, grey, notes=pinches).state

    assert judged("yes", "no") == judged("yes", "unsure") == judged("no", "yes", "no") == "hold"
    assert judged("yes", "no", "no") == judged("no") == "open"


def test_powder_as_light_as_chloride_is_no_silver_for_sure():
    found = _judged(CLEAN, _solid(90.0, pale=(0.0, 0.5, 1.0), reasons=["not_dark_and_pale"]))
    assert (found.state, "may be chloride" in found.sentence) == ("cannot tell", True)
    assert _judged(CLEAN, _solid(90.0)).state == "open"  # the picture rules chloride out
