"""The bench's notes in the log, over HTTP and on the command line, with a made-up reader."""

from __future__ import annotations

import json

import pytest
from fastapi.testclient import TestClient

from service.cli import main
from service.web.app import create_app
from tests.server.conftest import a_photo, settings_in


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("bench")


@pytest.fixture(scope="module")
def client(folder):
    with TestClient(create_app(settings_in(folder))) as c:
        yield c


@pytest.fixture
def batch(client):
    water = {"water": "tap", "alkalinity_mmol_l": 0.4}
    return client.post("/api/batches", json={"name": "Bench of 3 June", "water": water}).json()["id"]


@pytest.fixture
def note(client, batch):
    return lambda kind, **data: client.post(f"/api/batches/{batch}/notes", json={"kind": kind, "data": data})


def _post(client, batch, kind, orders="ph=7.00", **form):
    files = {"photo": ("snap.jpg", a_photo(orders), "image/jpeg")}
    answer = client.post(f"/api/batches/{batch}/readings", files=files, data={"kind": kind, **form})
    assert answer.status_code == 200, answer.text
    return answer.json()


def _run(capsys, *args):
    with pytest.raises(SystemExit) as stop:
        main(["batch", *args])
    out = capsys.readouterr()
    return stop.value.code, out.out, out.err


def test_a_batch_walks_from_wash_to_the_next_stage_by_its_readings(client, batch, note):
    assert client.get(f"/api/batches/{batch}/bench").json()["gate"]["state"] == "cannot tell"
    assert note("weight", of="chloride", grams=412.0, moisture=[0.25, 0.3]).status_code == 201
    assert note("vessel", retained_l=0.1).status_code == 201
    held = client.post(f"/api/batches/{batch}/stage", json={})
    assert held.status_code == 409
    assert "give a reason" in held.json()["detail"]
    for wash in (1, 2):
        _post(client, batch, "tint", path_mm=20, wash=wash, ammonia_ph=9.8, flakes="no", sample_ml=3, drops=10)
    state = client.get(f"/api/batches/{batch}/bench").json()
    assert state["gate"]["state"] == "open", state
    assert state["next"] == "Go on to: Wash the acid out."
    moved = client.post(f"/api/batches/{batch}/stage", json={}).json()
    assert moved["stage"]["id"] == "neutral-wash"
    _post(client, batch, "ph", "ph=6.20", wash=3)
    assert client.get(f"/api/batches/{batch}/bench").json()["gate"]["state"] == "cannot tell"
    _post(client, batch, "ph", "ph=7.00", wash=4)
    assert client.get(f"/api/batches/{batch}/bench").json()["gate"]["state"] == "open"


def test_the_page_the_forecast_and_the_gate_share_one_neutral_band(client, batch):
    page = f"/api/batches/{batch}"
    assert client.get(page).json()["neutral"] == [6.0, 8.0]
    for wash, ph in ((1, 1.0), (2, 2.0), (3, 8.2)):
        _post(client, batch, "ph", f"ph={ph:.2f}", wash=wash)
    client.post(f"{page}/stage", json={"to": "lye-wash", "reason": "to look at the other band"})
    assert client.get(page).json()["neutral"] == [6.0, 8.5]


def test_against_the_gate_with_a_reason_that_the_log_keeps(client, batch):
    moved = client.post(f"/api/batches/{batch}/stage", json={"reason": "the vial is lost", "who": "A."})
    assert moved.status_code == 200
    assert moved.json()["moves"][0]["reason"] == "the vial is lost"
    events = client.get(f"/api/batches/{batch}").json()["events"]
    assert any(e["what"] == "bench:move" and e["detail"]["who"] == "A." for e in events)
    assert client.post(f"/api/batches/{batch}/stage", json={"to": "polish", "reason": "x"}).status_code == 422


def test_a_note_sent_twice_counts_once_and_a_struck_one_counts_no_more(client, batch, note):
    first = note("decant", name="wash 1", litres=0.9, settled_h=0.2).json()
    assert note("decant", name="wash 1", litres=0.9, settled_h=0.2).json() == first
    assert note("weight", of="chloride", grams=100.0).status_code == 201
    names = {x["name"] for x in client.get(f"/api/batches/{batch}/bench").json()["balance"]["losses"]}
    assert "fines in wash 1" in names
    assert note("strike", note=first["id"], why="that was another batch").status_code == 201
    names = {x["name"] for x in client.get(f"/api/batches/{batch}/bench").json()["balance"]["losses"]}
    assert "fines in wash 1" not in names
    assert first in client.get(f"/api/batches/{batch}/notes").json()
    assert note("strike", note=10**6, why="x").status_code == 422


def test_wrong_notes_and_closed_batches_are_refused(client, batch, note):
    assert note("weight", of="chloride", grams=-1.0).status_code == 422
    assert note("joke", a=1).status_code == 422
    assert client.get("/api/batches/99999/bench").status_code == 404
    client.patch(f"/api/batches/{batch}", json={"closed": True})
    assert note("weight", of="chloride", grams=1.0).status_code == 409


@pytest.mark.parametrize(("form", "start"), [("html", b"<!doctype html>"), ("pdf", b"%PDF")])
def test_the_report_is_remade_from_the_log(client, batch, note, form, start):
    note("weight", of="chloride", grams=412.0)
    for n, ph in enumerate((1.0, 2.0, 3.0), 1):
        _post(client, batch, "ph", f"ph={ph:.2f}", wash=n)
    first = client.get(f"/api/batches/{batch}/report.{form}")
    assert first.status_code == 200
    assert first.content.startswith(start)
    assert "attachment" in first.headers["content-disposition"]
    assert client.get(f"/api/batches/{batch}/report.{form}").content == first.content
    if form == "html":
        assert first.text.count("data:image/jpeg") == 3
        assert "expected, 90 %" in first.text


def test_plans_over_http(client):
    lye = client.get("/api/plan/lye", params={"chloride_g": 100.0}).json()
    assert lye["dose"]["lye_g"][1] > 40
    assert any("explosive" in c for c in lye["cautions"])
    wash = client.get("/api/plan/wash", params={"retained_l": 0.1, "added_l": 0.9}).json()
    assert wash["washes"]["ideal"] >= 4
    assert client.get("/api/plan/wash", params={"retained_l": 0.1, "water": "tap", "added_l": 1}).status_code == 422


def test_plans_over_http_take_units_and_say_it_in_words(client):
    wet = {"chloride_g": "1 lb", "moisture_low": 0.2, "portions": 3, "sugar": "none", "unit": "lb", "lye_excess": 2}
    lye = client.get("/api/plan/lye", params=wet).json()
    # By hand: 453.59 g x 0.8 / 143.318 = 2.532 mol; x 39.997 x 2 / 0.97 = 208.8 g of lye. Silver: 362.9 g x 0.7526.
    assert lye["dose"]["lye_g"] == pytest.approx([208.8] * 3, rel=1e-3)
    assert ["Dry chloride", "0.8 lb, silver in it 0.602 lb"] in lye["said"]
    assert ["Lye (97 % NaOH)", "0.46 lb in each of 3 portions"] in lye["said"]
    assert not any("sugar" in what.lower() for what, _ in lye["said"])
    same = client.get("/api/plan/wash", params={"retained_l": "80 ml", "volume_l": "5 l", "acid_mol_l": -1}).json()
    assert same["splits"][0]["share_left"] == pytest.approx(0.08 / 5.08)
    assert any("All 5 L in" in text for text in same["said"])


@pytest.mark.parametrize(
    ("path", "params", "says"),
    [
        ("lye", {"chloride_g": "2 l"}, "chloride_g: can't read '2 l'"),
        ("lye", {"chloride_g": "0"}, "above 0"),
        ("lye", {"chloride_g": "5", "unit": "banana"}, "can't show g in 'banana'"),
        ("lye", {"chloride_g": "5", "unit": "9**9"}, "can't show g"),
        ("wash", {"retained_l": "1 lb", "added_l": 1}, "retained_l"),
        ("wash", {"retained_l": 1}, "give the water"),
        ("wash", {"retained_l": 1, "added_l": 1, "acid_mol_l": 0}, "acid or lye"),
    ],
)
def test_plans_that_can_not_be_made_say_why(client, path, params, says):
    answer = client.get(f"/api/plan/{path}", params=params)
    assert answer.status_code == 422
    assert says in answer.json()["detail"]


def test_notes_over_http_take_units(client, batch, note):
    made = note("weight", of="input", grams="2 troy_ounce", fineness="900-925 ‰").json()
    assert made["data"] == {"of": "input", "grams": pytest.approx(62.2069536), "fineness": [0.9, 0.925]}
    assert note("decant", name="wash 1", litres="900 ml", settled_h="90 min").json()["data"]["settled_h"] == 1.5
    wrong = note("decant", name="wash 2", litres="2 lb")
    assert wrong.status_code == 422
    assert "decant's litres" in wrong.json()["detail"]


def test_the_command_line_on_a_local_log(capsys, tmp_path):
    data = ["--data", str(tmp_path / "log")]
    assert _run(capsys, "new", "Chloride of June", "--procedure", "copper_cementation", *data)[0] == 0
    assert _run(capsys, "note", "1", "weight", "of=input", "grams=1 lb", "fineness=0.9-0.93", *data)[0] == 0
    assert (
        _run(capsys, "note", "1", "poured", "what=acid", "litres=500 ml", "ph=1", "metals=silver,copper", *data)[0] == 0
    )
    state = json.loads(_run(capsys, "show", "1", "--json", *data)[1])
    assert state["procedure"] == "silver from nitrate solution on copper"
    assert state["balance"]["expected_g"][1] == pytest.approx(453.59237 * 0.915)
    code, _, err = _run(capsys, "next", "1", *data)
    assert code == 2
    assert "give a reason" in err
    code, out, _ = _run(capsys, "next", "1", "--reason", "no white with salt", *data)
    assert code == 0
    assert "explosive" in out
    page = tmp_path / "r.html"
    assert _run(capsys, "report", "1", "--out", str(page), *data)[0] == 0
    assert "no white with salt" in page.read_text(encoding="utf-8")
    assert "Chloride of June" in _run(capsys, "list", *data)[1]


def test_the_stock_vessel_goes_over_all_batches_until_it_is_handed_over(capsys, tmp_path):
    data = ["--data", str(tmp_path / "log")]
    for name in ("one", "two"):
        _run(capsys, "new", name, *data)
    _run(capsys, "note", "1", "poured", "what=acid", "litres=2", "ph=1", *data)
    _run(capsys, "note", "2", "poured", "what=more acid", "litres=1", "ph=1", "metals=silver", *data)
    code, out, _ = _run(capsys, "stock", *data)
    assert code == 0
    assert "3 L in all" in out
    assert "Nothing of this goes down a drain" in out
    _run(capsys, "note", "2", "poured", "what=lye", "litres=1", "ph=13.5", *data)
    assert "Could be acid or lye: read its pH first" in _run(capsys, "stock", *data)[1]
    _run(capsys, "note", "2", "mixed", "ph=2", *data)
    out = _run(capsys, "stock", *data)[1]
    assert "4 L in all. About 0.045 mol of acid" in out  # 4 L at pH 2, activity coefficient 0.898 (Davies, by hand)
    assert "read, pH 2" in out
    assert "Silver: add salt" in out  # the metals are still in it
    _run(capsys, "note", "1", "emptied", "what=handed to the collection", *data)
    _run(capsys, "note", "1", "poured", "what=lye", "litres=0.5", "ph=13.5", *data)
    out = _run(capsys, "stock", *data)[1]
    assert "0.5 L in all" in out
    assert "at least" in out


def test_the_stock_over_http(client, batch, note):
    note("poured", what="acid", litres=2.0, ph=1.0)
    held = client.get("/api/stock").json()
    assert held["litres"] >= 2.0
    assert any(x["batch"] == batch for x in held["poured"])
    assert any("drain" in text for text in held["recover"])


@pytest.mark.parametrize(
    "args",
    [
        ("show", "1"),
        ("new", " "),
        ("new", "x", "--procedure", "nowhere.toml"),
        ("note", "1", "weight", "grams"),
        ("note", "1", "weight", "grams=many"),
        ("note", "1", "weight", "colour=red"),
        ("report", "1", "--out", "r.doc"),
    ],
)
def test_wrong_calls_are_one_line(capsys, tmp_path, args):
    code, _, err = _run(capsys, *args, "--data", str(tmp_path / "none"))
    assert code == 2
    assert err.count("\n") == 1
    assert "internal problem" not in err
