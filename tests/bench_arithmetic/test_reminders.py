"""What a batch's own log reminds of: test vials, settling, drying, time that is up; computed from one moment."""

from __future__ import annotations

import pytest

from service.bench.notes import Note, checked
from service.bench.procedure import load_procedure
from service.bench.readings import Observation, logged
from service.bench.reminding.of_stage import clears_in_h
from service.bench.state import state_of
from service.moments import hours_between, later


def _at(hours):
    return later("2026-03-01T08:00:00+00:00", hours)


def _note(n, at, kind, **data):
    return Note(checked(kind, data), _at(at), n)


def _start(stage, procedure="chloride_lye_sugar"):
    text = load_procedure(procedure).text
    chosen = Note(checked("procedure", {"text": text}), _at(0), 1)
    return [chosen, _note(2, 0.0, "move", to=stage, state="open", sentence="x")]


def _tint(at):
    return Observation(_at(at), logged({"kind": "tint", "decision": "none seen"}), 1, entry=int(10 * at))


def _reminds(notes, now, seen=()):
    return {r.code: r for r in state_of(notes, list(seen), now=_at(now)).reminders}


def test_hours_between_two_zones_are_those_of_one_clock():
    assert hours_between("2026-03-01T08:00:00+00:00", "2026-03-01T10:30:00+02:00") == 0.5
    assert hours_between("2026-03-01T08:00:00", "2026-03-01T09:00:00+00:00") == 1.0
    assert later("2026-03-01T23:30:00+01:00", 1.0) == "2026-03-02T00:30:00+01:00"


def test_a_test_vial_is_to_be_acidified_at_once_and_late_after_an_hour():
    notes = _start("acid-wash")
    soon = _reminds(notes, 1.2, [_tint(1.0)])["acidify"]
    assert (soon.state, soon.due) == ("now", _at(1.0))
    assert "explosive" in soon.sentence
    late = _reminds(notes, 2.5, [_tint(1.0), _tint(2.4)])["acidify"]
    assert late.state == "late"
    assert "2 copper tests" in late.sentence
    assert _reminds(notes, 80.0, [_tint(1.0)])["acidify"].state == "late"  # until somebody writes that it was done


def test_acid_written_down_ends_it_and_too_little_acid_does_not():
    notes, seen = _start("acid-wash"), [_tint(1.0)]
    assert "acidify" not in _reminds([*notes, _note(3, 1.1, "acidified")], 1.2, seen)
    assert "acidify" not in _reminds([*notes, _note(3, 1.1, "acidified", ph=2.0)], 1.2, seen)
    assert "acidify" in _reminds([*notes, _note(3, 1.1, "acidified", ph=5.0)], 1.2, seen)
    assert "acidify" in _reminds([*notes, _note(3, 0.9, "acidified")], 1.2, seen)  # an earlier one
    drops = _note(4, 1.15, "ammonia_test", ml=3.0, mol_l=1.0)
    assert "acidify" in _reminds([*notes, _note(3, 1.1, "acidified"), drops], 1.2, seen)
    first = state_of([*notes, _note(3, 0.5, "decant", name="wash 1", litres=0.9)], seen, now=_at(4.0)).reminders
    assert [r.code for r in first] == ["acidify", "settled"]  # the danger stands first


def test_a_wash_settles_as_long_as_the_batchs_own_liquid_took_to_clear():
    def decant(n, at, hours, looks):
        return _note(n, at, "decant", name=f"wash {n}", litres=0.9, settled_h=hours, looks=looks)

    assert clears_in_h([]) == (1.0, False)
    assert clears_in_h([decant(3, 0, 0.5, "hazy")]) == (1.0, True)
    assert clears_in_h([decant(3, 0, 0.5, "hazy"), decant(4, 1, 2.0, "clear"), decant(5, 2, 3.0, "clear")]) == (
        2.0,
        True,
    )
    assert clears_in_h([decant(3, 0, 2.0, "cloudy"), decant(4, 1, 0.5, "clear")])[0] == 0.5  # all that it ever told
    notes = [*_start("neutral-wash"), decant(3, 1.0, 0.5, "hazy"), decant(4, 4.0, 2.0, "clear")]
    before, after = _reminds(notes, 5.0)["settled"], _reminds(notes, 6.5)["settled"]
    assert (before.state, before.due) == ("later", _at(6.0))
    assert (after.state, "decant now" in after.sentence, "wash 4" in after.sentence) == ("now", True, True)
    assert "settled" not in _reminds(_start("neutral-wash"), 5.0)  # nothing was poured off yet
    assert "settled" not in _reminds([*notes, _note(9, 7.0, "move", to="lye-sugar", state="open", sentence="x")], 9.0)


def test_drying_is_weighed_again_when_the_gate_or_its_course_says():
    def weight(n, at, grams):
        return _note(n, at, "weight", of="powder", grams=grams, scale_g=0.05)

    notes = [*_start("dry"), weight(3, 1.0, 250.0)]
    assert _reminds(notes, 1.5)["weigh"].due == _at(2.0)  # the gate's own hour
    assert _reminds(notes, 2.1)["weigh"].state == "now"
    import math

    course = [weight(3 + k, 1.0 + k, 200.0 + 50.0 * math.exp(-k / 1.5)) for k in range(6)]
    found = _reminds([*_start("dry"), *course], 6.5)["weigh"]
    state = state_of([*_start("dry"), *course], [], now=_at(6.5))
    if state.drying.status == "ok":
        assert found.due == later(_at(6.0), max(1.0, state.drying.hours[1]))
    done = [weight(3, 1.0, 200.0), weight(4, 3.0, 200.0)]
    assert "weigh" not in _reminds([*_start("dry"), *done], 4.0)  # the gate is open


def test_time_that_a_gate_waits_for():
    notes = [*_start("reduce", "chloride_iron"), _note(3, 1.0, "used", what="iron", grams=30.0)]
    assert _reminds(notes, 2.0)["time_up"].due == _at(3.0)
    assert _reminds(notes, 3.1)["time_up"].state == "now"
    white = [*notes, _note(4, 3.2, "named_test", name="white", found="no")]
    assert _reminds(white, 3.3)["look_again"].due == _at(3.7)
    assert "look_again" not in _reminds([*notes, _note(4, 3.2, "named_test", name="white", found="yes")], 3.3)
    gone = [*_start("metal-out", "chloride_iron"), _note(3, 1.0, "metal_check", grains="no", bubbles="no", magnet="no")]
    assert _reminds(gone, 1.6)["look_again"].state == "now"


@pytest.fixture
def client(tmp_path):
    from fastapi.testclient import TestClient

    from service.web.app import create_app
    from tests.server.conftest import settings_in

    with TestClient(create_app(settings_in(tmp_path))) as c:
        yield c


def test_over_http_and_on_the_command_line(client, tmp_path, capsys):
    batch = client.post("/api/batches", json={"name": "Morning", "procedure": "chloride_lye_sugar"}).json()["id"]
    quiet = client.post("/api/batches", json={"name": "Quiet"}).json()["id"]
    said = {"kind": "ammonia_test", "data": {"ml": 3, "mol_l": 1}, "who": "B."}
    made = client.post(f"/api/batches/{batch}/notes", json=said)
    assert made.status_code == 201, made.text
    assert made.json()["who"] == "B."
    assert client.get(f"/api/batches/{batch}/notes").json()[-1]["who"] == "B."
    found = client.get("/api/reminders").json()
    assert [(one["batch"], one["name"], one["reminders"][0]["code"]) for one in found] == [
        (batch, "Morning", "acidify")
    ]
    assert client.get(f"/api/batches/{batch}/reminders").json() == found[0]["reminders"]
    assert client.get(f"/api/batches/{batch}/bench").json()["reminders"] == found[0]["reminders"]
    assert client.get(f"/api/batches/{quiet}/reminders").json() == []
    assert client.get("/api/batches/99/reminders").status_code == 404

    from service.cli import main

    def run(*args):
        with pytest.raises(SystemExit):
            main(["batch", *args, "--data", str(tmp_path / "data")])
        return capsys.readouterr().out

    assert "Acidify the vial" in run("show", str(batch))
    assert "Acidify the vial" in run("list")
    client.post(f"/api/batches/{batch}/notes", json={"kind": "acidified", "data": {"ph": 2}})
    assert client.get("/api/reminders").json() == []
    client.post(f"/api/batches/{batch}/notes", json={**said, "data": {"ml": 2, "mol_l": 1}})
    assert client.get("/api/reminders").json()
    client.patch(f"/api/batches/{batch}", json={"closed": True})
    assert client.get("/api/reminders").json() == []
    assert client.get(f"/api/batches/{batch}/reminders").json() == []
    assert client.get(f"/api/batches/{batch}/bench").json()["reminders"] == []


def test_every_kind_of_note_says_who_on_page_paper_and_interface(client, tmp_path):
    """Whoever wrote a note stands with it: one of each kind that a form offers and that needs no other note."""
    from service.bench.note_forms import note_forms
    from service.cli import main

    batch = client.post("/api/batches", json={"name": "x", "procedure": "chloride_lye_sugar"}).json()["id"]
    told = {
        "weight": {"of": "chloride", "grams": 100}, "decant": {"name": "wash 1", "litres": 1}, "used": {"what": "lye"},
        "vessel": {"papers": 1}, "ammonia_test": {"ml": 1, "mol_l": 1}, "acidified": {"ph": 2},
        "acid_rinse": {"acid_mol": 0.1, "oxide_silver_g": 0}, "metal_check": {"grains": "no"},
        "named_test": {"name": "oxide", "found": "no"}, "melt": {"powder_g": 10}, "bar": {"name": "b", "grams": 9},
        "poured": {"what": "acid", "litres": 1, "ph": 1}, "mixed": {"ph": 2}, "emptied": {"what": "all"},
        "named_vessel": {"vessel": "pot", "what_for": "buffer"}, "vessel_holds": {"vessel": "pot", "litres": 1},
        "moved": {"how": "pour", "vessel": "main", "into": "pot", "litres": 0.1},
        "filtered": {"vessel": "pot", "paper": "p", "into": "jar"}, "evaporated": {"vessel": "jar", "left_l": 0.1},
        "spilled": {"vessel": "jar", "share": [0.01, 0.02]}, "silver_down": {"by": "chloride", "drop": "clear"},
        "vessel_weighed": {"vessel": "p", "grams": 5, "net": True, "form": "chloride"},
        "handed_over": {"vessel": "jar", "what": "all"},
    }  # fmt: skip
    missing = {form.kind for form in note_forms()} - {*told, "strike", "made_safe"}
    assert not missing, missing
    for kind, data in told.items():
        body = {"kind": kind, "data": data, "who": f"W-{kind}"}
        made = client.post(f"/api/batches/{batch}/notes", json=body)
        assert made.status_code == 201, (kind, made.text)
        assert made.json()["who"] == f"W-{kind}"
    items = client.get(f"/api/batches/{batch}/timeline?limit=100").json()["entries"]
    assert {f"W-{kind}" for kind in told} <= {item.get("who") for item in items}
    page = tmp_path / "r.html"
    with pytest.raises(SystemExit):
        main(["batch", "report", str(batch), "--out", str(page), "--data", str(tmp_path / "data")])
    text = page.read_text()
    unseen = [kind for kind in told if f"W-{kind}" not in text]
    assert not unseen, unseen
