"""Calibrating without a terminal: drafts that survive, runs in the background, profiles by version, control strips."""

import csv
import json
import re
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from fastapi.testclient import TestClient

from service.cli import app as command_line
from service.log.calibrations.runs import begin_run
from service.log.check import check_log, check_rows
from service.web.app import create_app
from stripread.kind import load_kind
from tests.scenes import render
from tests.scenes.chart import chart_scene
from tests.server.conftest import a_photo, settings_in

DEMO = Path(__file__).resolve().parents[2] / "service" / "demo"
KIND = load_kind(DEMO / "strip.toml").to_dict()
with (DEMO / "buffers" / "buffers.csv").open(encoding="utf-8") as table:
    ROWS = list(csv.DictReader(table))
FEW = [row for row in ROWS if float(row["ph"]) in (2.0, 5.0, 8.0, 11.0)]


@pytest.fixture(scope="module")
def settings(tmp_path_factory):
    """A service that begins without any profile."""
    return replace(settings_in(tmp_path_factory.mktemp("calibrating")), profiles=(), reading_timeout=120)


@pytest.fixture(scope="module")
def client(settings):
    with TestClient(create_app(settings)) as c:
        yield c


def start(client, name="new bottle", **more):
    answer = client.post("/api/calibrations", json={"name": name, "kind": KIND} | more)
    assert answer.status_code == 201, answer.text
    return answer.json()["id"]


def put(client, draft, row, key=None, **form):
    data = (DEMO / "buffers" / row["photo"]).read_bytes()
    headers = {"Idempotency-Key": key} if key else {}
    said = form or {"ph": row["ph"], "liquid": f"buffer {row['ph']}"}
    files = {"photo": (row["photo"], data, "image/jpeg")}
    return client.post(f"/api/calibrations/{draft}/photos", files=files, data=said, headers=headers)


def ended(client, draft):
    until = time.monotonic() + 120
    while time.monotonic() < until:
        page = client.get(f"/api/calibrations/{draft}").json()
        if page["run"]["state"] != "running":
            return page
        time.sleep(0.05)
    raise AssertionError("the run does not end")


@pytest.fixture(scope="module")
def learned(client):
    """A draft with a curve, the first profile of the service."""
    about = client.get("/api/about").json()
    assert about["kinds"]["ph"] is False
    draft = start(client)
    for row in FEW:
        assert put(client, draft, row).status_code == 201
    assert client.post(f"/api/calibrations/{draft}/run").status_code == 202
    return draft, ended(client, draft)


def test_a_service_without_a_profile_says_what_is_wanted(client):
    batch = client.post("/api/batches", json={"name": "first"}).json()["id"]
    refused = client.post(f"/api/batches/{batch}/readings", files={"photo": ("a.jpg", a_photo(), "image/jpeg")})
    assert refused.status_code == 409
    assert refused.json()["code"] == "no_profile"
    assert "Calibrate the strip" in refused.json()["detail"]


def test_a_photo_is_looked_at_when_it_comes(client, settings):
    draft = start(client)
    row = FEW[0]
    first = put(client, draft, row, key="photo-one")
    assert first.status_code == 201, first.text
    assert len(first.json()["colours"]) == len(KIND["pads"])
    again = put(client, draft, row, key="photo-one")
    assert again.headers["Idempotency-Replayed"] == "true"
    assert again.json() == first.json()
    twice = put(client, draft, row)
    assert (twice.status_code, twice.json()["code"]) == (409, "photo_there")
    files = {"photo": ("a.jpg", a_photo(), "image/jpeg")}
    refused = client.post(f"/api/calibrations/{draft}/photos", files=files, data={"ph": "7"})
    assert refused.status_code == 422
    assert refused.json()["code"] in ("no_card", "too_small")
    assert not list(settings.data.joinpath("calibrating").iterdir())  # one that is refused leaves nothing
    with client.app.state.service.database.snapshot() as c:
        assert check_rows(c).faults == ()
    page = client.get(f"/api/calibrations/{draft}").json()
    assert [photo["file"] for photo in page["photos"]] == [row["photo"]]
    assert any("more liquids" in wanted for wanted in page["wanted"])
    assert any("another photo of" in wanted for wanted in page["wanted"])
    assert client.delete(f"/api/calibrations/{draft}/photos/{first.json()['id']}").status_code == 204
    assert client.get(f"/api/calibrations/{draft}").json()["photos"] == []
    assert put(client, draft, row).status_code == 201


def test_a_liquid_brings_its_ph_and_its_doubt(client):
    draft = start(client)
    cold = put(client, draft, FEW[0], liquid="limewater", temperature_c="20")
    assert (cold.json()["ph"], cold.json()["ph_sd"]) == (12.62, 0.05)
    for form, code in (
        ({"liquid": "limewater"}, "which_temperature"),
        ({"liquid": "limewater", "temperature_c": "60"}, "wrong_temperature"),
        ({"liquid": "cola", "temperature_c": "20"}, "which_liquid"),
        ({"temperature_c": "20"}, "which_liquid"),
    ):
        refused = put(client, draft, FEW[1], **form)
        assert (refused.status_code, refused.json()["code"]) == (422, code)
    assert not [asked for asked in client.get(f"/api/calibrations/{draft}").json()["wanted"] if "°C" in asked]
    assert put(client, draft, FEW[1], liquid="phthalate", temperature_c="68").status_code == 201
    asked = client.get(f"/api/calibrations/{draft}").json()["wanted"][0]
    assert asked.startswith(f"{FEW[1]['photo']}: 68 °C is no temperature of a room")
    assert "20 °C" in asked


def test_a_run_makes_a_profile_that_is_read_with(client, learned):
    draft, page = learned
    assert page["run"]["state"] == "done"
    result = page["result"]
    assert result["verdict"] in ("good", "fair", "poor")
    assert "photos at 4 pH values" in result["report"]
    assert result["stale"] is False
    curve = result["evidence"]["curve"]
    assert len(curve["ph"]) == len(curve["doubt"]) == len(curve["colours"]) == 57
    assert re.fullmatch(r"#[0-9a-f]{6}", curve["colours"][0][0])
    assert len(result["evidence"]["photos"]) == len(FEW)
    mine = next(p for p in client.get("/api/profiles").json() if p["calibration"] == draft)
    assert (mine["name"], mine["version"], mine["current"]) == (KIND["name"], 1, True)
    assert client.get("/api/about").json()["kinds"]["ph"] is True
    batch = client.post("/api/batches", json={"name": "second"}).json()["id"]
    photo = {"photo": ("a.jpg", a_photo("ph=6.5"), "image/jpeg")}
    read = client.post(f"/api/batches/{batch}/readings", files=photo).json()
    assert read["log"]["profile_sha256"] == mine["sha256"]
    picture = client.get(f"/api/calibrations/{draft}/curve.png")
    assert picture.content.startswith(b"\x89PNG")
    german = client.get(f"/api/calibrations/{draft}?language=de").json()["result"]["report"]
    assert german != result["report"]


def test_a_calibration_and_the_command_line_give_the_same_bytes(client, learned, tmp_path):
    table = tmp_path / "buffers.csv"
    lines = [f"{row['photo']},{row['ph']}" for row in FEW]
    for row in FEW:
        (tmp_path / row["photo"]).write_bytes((DEMO / "buffers" / row["photo"]).read_bytes())
    table.write_text("photo,ph\n" + "\n".join(lines) + "\n", encoding="utf-8")
    out = tmp_path / "profile.toml"
    call = ["calibrate", str(DEMO / "strip.toml"), "--buffers", str(table), "--out", str(out)]
    done = CliRunner().invoke(command_line, call, catch_exceptions=False)
    assert done.exit_code == 0, done.output
    mine = next(p for p in client.get("/api/profiles").json() if p["calibration"] == learned[0])
    exported = client.get(f"/api/profiles/{mine['id']}/file").text

    def undated(text):
        return re.sub(r'^made = ".*"$', "", text, flags=re.M)

    assert undated(exported) == undated(out.read_text(encoding="utf-8"))
    assert exported != undated(exported)


def test_profiles_come_in_are_chosen_and_stay(client, learned):
    file = {"profile": ("p.toml", (DEMO / "profile.toml").read_bytes(), "application/toml")}
    came = client.post("/api/profiles", files=file, headers={"Idempotency-Key": "import-one"})
    assert came.status_code == 201, came.text
    assert came.json()["origin"] == "imported"
    assert came.json()["current"] is False
    number = came.json()["id"]
    assert client.post("/api/profiles", files=file, headers={"Idempotency-Key": "import-one"}).json() == came.json()
    assert client.get(f"/api/profiles/{number}/file").content == file["profile"][1]
    chosen = client.post(f"/api/profiles/{number}/current").json()
    assert [p["id"] for p in chosen if p["current"] and p["name"] == came.json()["name"]] == [number]
    older = next(p for p in chosen if p["calibration"] == learned[0])
    back = client.post(f"/api/profiles/{older['id']}/current").json()
    assert [p["id"] for p in back if p["current"] and p["name"] == older["name"]] == [older["id"]]
    wrong = client.post("/api/profiles", files={"profile": ("p.toml", b"name = 'x'", "application/toml")})
    assert wrong.status_code == 409
    assert "profile" in wrong.json()["detail"]
    assert client.post("/api/profiles/999/current").status_code == 404


def test_control_strips_are_kept_with_their_limits(client, learned):
    number = next(p["id"] for p in client.get("/api/profiles").json() if p["calibration"] == learned[0])
    row = next(row for row in ROWS if float(row["ph"]) == 6.0)
    files = {"photo": (row["photo"], (DEMO / "buffers" / row["photo"]).read_bytes(), "image/jpeg")}
    right = client.post(f"/api/profiles/{number}/check", files=files, data={"ph": "6.0"})
    assert right.status_code == 201, right.text
    point = right.json()["points"][0]
    assert point["where"] == "within"
    assert abs(point["error"]) < 1.0
    assert right.json()["check"]["verdict"] == "too few"
    other = next(row for row in ROWS if float(row["ph"]) == 9.0)
    files = {"photo": (other["photo"], (DEMO / "buffers" / other["photo"]).read_bytes(), "image/jpeg")}
    wrong = client.post(f"/api/profiles/{number}/check", files=files, data={"ph": "3.0"})
    assert [point["where"] for point in wrong.json()["points"]] == ["within", "action"]
    chart = client.get(f"/api/profiles/{number}/checks").json()
    assert chart == wrong.json()
    assert (chart["warning"], chart["action"]) == (2.0, 3.0)
    assert next(p for p in client.get("/api/profiles").json() if p["id"] == number)["controls"] == 2


def test_a_run_can_be_cancelled_and_says_why_it_failed(client):
    draft = start(client, "cancelled")
    assert client.post(f"/api/calibrations/{draft}/run").json()["code"] == "nothing_to_learn"
    assert put(client, draft, FEW[0]).status_code == 201
    client.post(f"/api/calibrations/{draft}/run")
    failed = ended(client, draft)["run"]
    assert failed["state"] == "failed"
    assert "only 1 pH values" in failed["why"]
    for row in ROWS[6:20]:
        assert put(client, draft, row).status_code == 201
    assert client.post(f"/api/calibrations/{draft}/run", headers={"Idempotency-Key": "run-it"}).status_code == 202
    assert client.post(f"/api/calibrations/{draft}/run").json()["code"] == "run_under_way"
    assert client.post(f"/api/calibrations/{draft}/cancel").json()["state"] == "cancelled"
    assert "Nothing is lost" in client.get(f"/api/calibrations/{draft}").json()["run"]["why"]
    assert len(client.get(f"/api/calibrations/{draft}").json()["photos"]) == 15


def test_drafts_survive_a_service_that_dies(tmp_path):
    settings = replace(settings_in(tmp_path), profiles=(), reading_timeout=120)
    with TestClient(create_app(settings)) as c:
        draft = start(c)
        assert put(c, draft, FEW[0]).status_code == 201
        with c.app.state.service.database.write() as rows:  # killed while it works: the row stays as it was
            begin_run(rows, draft, [1])
    with TestClient(create_app(settings)) as c:
        page = c.get(f"/api/calibrations/{draft}").json()
        assert [photo["file"] for photo in page["photos"]] == [FEW[0]["photo"]]
        assert page["run"]["state"] == "failed"
        assert "start it again" in page["run"]["why"]
        found = check_log(c.app.state.service.database, settings.data)
        assert found.whole, found.faults
        assert not found.orphans


def test_the_makers_chart_as_numbers(client):
    draft = start(client, "chart")
    fields = [
        {"ph": ph, "pad": pad, "L": 60.0 - ph, "a": 4.0 * ph - 20.0, "b": 30.0 - 2.0 * ph}
        for ph in (4.0, 7.0, 10.0)
        for pad in range(len(KIND["pads"]))
    ]
    lacking = client.put(f"/api/calibrations/{draft}/chart", json={"fields": fields[:-1]})
    assert (lacking.status_code, lacking.json()["code"]) == (422, "bad_chart")
    assert client.put(f"/api/calibrations/{draft}/chart", json={"fields": fields}).status_code == 200
    client.post(f"/api/calibrations/{draft}/run")
    page = ended(client, draft)
    assert page["run"]["state"] == "done", page["run"]
    assert page["result"]["verdict"] == "unproven"
    assert page["result"]["evidence"]["evidence"] == "chart only"


def test_the_makers_chart_as_a_photo_by_places_in_it(client):
    """As the page sends it: places in the photo; the rendered chart's true places on the card are the check."""
    scene, swatches = chart_scene(np.random.default_rng(5), "four")
    photo = render(scene)
    width, height = photo.truth.size
    seen = photo.truth.card_to_px(np.array([[s.x_mm, s.y_mm] for s in swatches]))
    spots = [
        {"ph": s.ph, "pad": s.pad, "across": (x + 0.5) / width, "down": (y + 0.5) / height}
        for s, (x, y) in zip(swatches, seen, strict=True)
    ]
    draft = start(client, "chart's photo")
    files = {"photo": ("chart.jpg", photo.data, "image/jpeg")}
    sent = client.post(f"/api/calibrations/{draft}/chart", files=files, data={"spots": json.dumps(spots)})
    assert sent.status_code == 200, sent.text
    fields = client.get(f"/api/calibrations/{draft}").json()["chart"]
    off = [np.hypot(f["x_mm"] - s.x_mm, f["y_mm"] - s.y_mm) for f, s in zip(fields, swatches, strict=True)]
    assert max(off) < 0.3
    client.post(f"/api/calibrations/{draft}/run")
    page = ended(client, draft)
    assert page["run"]["state"] == "done", page["run"]
    assert page["result"]["evidence"]["evidence"] == "chart only"
    no_card = {"photo": ("table.jpg", a_photo("ph=7.00"), "image/jpeg")}
    refused = client.post(f"/api/calibrations/{draft}/chart", files=no_card, data={"spots": json.dumps(spots)})
    assert refused.status_code == 422
    assert client.get(f"/api/calibrations/{draft}").json()["chart"] == fields
    mixed = [spots[0], {"ph": 1.0, "pad": 0, "x_mm": 1.0, "y_mm": 2.0}]
    refused = client.post(f"/api/calibrations/{draft}/chart", files=files, data={"spots": json.dumps(mixed)})
    assert (refused.status_code, refused.json()["code"]) == (422, "bad_spots")


def test_a_strip_is_described_or_taken_from_a_profile(client, learned):
    number = client.get("/api/profiles").json()[0]["id"]
    like = client.post("/api/calibrations", json={"name": "like", "like_profile": number}).json()
    assert like["kind"]["pads"] == KIND["pads"]
    for body, code in (
        ({"name": "x"}, "which_kind"),
        ({"name": "x", "kind": {"name": "y"}}, "bad_kind"),
    ):
        refused = client.post("/api/calibrations", json=body)
        assert (refused.status_code, refused.json()["code"]) == (422, code)
    assert client.post("/api/calibrations", json={"name": "x", "like_profile": 999}).status_code == 404
    assert client.delete(f"/api/calibrations/{like['id']}").status_code == 204
    assert like["id"] not in [one["id"] for one in client.get("/api/calibrations").json()]
    assert put(client, like["id"], FEW[0]).json()["code"] == "calibration_closed"


def test_the_next_best_liquid_of_those_at_hand(client, learned):
    path = f"/api/calibrations/{learned[0]}/next"
    found = client.post(path, json={"liquids": ["vinegar", "borax", "baking_soda", "phosphate"]}).json()
    assert {gain["key"] for gain in found["gains"]} == {"vinegar", "borax", "baking_soda", "phosphate"}
    assert found["gains"] == sorted(found["gains"], key=lambda gain: gain["then"])
    assert all(gain["then"] < gain["now"] for gain in found["gains"])
    assert found["advice"]
    assert client.post(path, json={"liquids": ["cola"]}).json()["code"] == "which_liquid"
