"""The stock vessel over HTTP: stops as problems with a code, plans that give no dose where none may be given."""

from __future__ import annotations

import pytest
from fastapi.testclient import TestClient

from service.web.app import create_app
from tests.server.conftest import a_photo, settings_in


@pytest.fixture
def client(tmp_path):
    with TestClient(create_app(settings_in(tmp_path))) as c:
        yield c


@pytest.fixture
def pour(client):
    batch = client.post("/api/batches", json={"name": "one"}).json()["id"]
    return lambda **data: client.post(f"/api/batches/{batch}/notes", json={"kind": "poured", "data": data})


def test_a_dangerous_pouring_is_a_409_with_its_code_and_nothing_is_written(client, pour):
    assert pour(what="washes", litres=5, ph=1.0, metals=["silver"], ammonia=True).status_code == 201
    stopped = pour(what="lye", litres=1, ph=13.0)
    assert stopped.status_code == 409
    assert stopped.json()["code"] == "danger_silver_ammonia"
    assert "Don't pour" in stopped.json()["detail"]
    assert len(client.get("/api/stock").json()["poured"]) == 1
    made = pour(what="lye", litres=1, ph=13.0, despite="done before anybody looked")
    assert made.status_code == 201
    held = client.get("/api/stock").json()
    assert held["ways"] == []
    assert f"Danger from note {made.json()['id']}" in held["dangers"][0]
    batch = client.get("/api/batches").json()[0]["id"]
    assert client.get(f"/api/batches/{batch}/bench").json()["cautions"][0] == held["dangers"][0]


def test_a_reading_that_shows_it_alkaline_is_a_danger_at_once(client, pour):
    assert pour(what="washes", litres=5, ph=1.0, metals=["silver"], ammonia=True).json()["dangers"] == []
    batch = client.get("/api/batches").json()[0]["id"]
    notes = f"/api/batches/{batch}/notes"
    made = client.post(notes, json={"kind": "mixed", "data": {"ph": 9.0}}).json()
    [danger] = made["dangers"]
    assert danger.startswith(f"Danger from note {made['id']}: The stock vessel was read at pH 9.")
    held = client.get("/api/stock").json()
    assert (held["dangers"], held["ways"]) == (made["dangers"], [])
    assert client.get(f"/api/batches/{batch}/bench").json()["dangers"] == made["dangers"]
    safe = {"kind": "made_safe", "data": {"note": made["id"], "what": "acid to pH 2", "who": "A."}}
    assert client.post(notes, json=safe).status_code == 201
    assert client.get("/api/stock").json()["dangers"] == []


def test_ammonia_used_in_a_batch_and_a_photo_that_reads_alkaline(client):
    batch = client.post("/api/batches", json={"name": "leach"}).json()["id"]
    notes, photos = f"/api/batches/{batch}/notes", f"/api/batches/{batch}/readings"

    def dangers():
        return client.get(f"/api/batches/{batch}/bench").json()["dangers"]

    def photo(ph):
        files = {"photo": ("w.jpg", a_photo(f"ph={ph}"), "image/jpeg")}
        return client.post(photos, files=files, data={"kind": "ph"}).json()["log"]["id"]

    photo("12.0")  # lye before any ammonia: no danger of this kind
    used = client.post(notes, json={"kind": "used", "data": {"what": "household ammonia", "litres": 0.2}}).json()
    assert dangers() == []
    photo("3.0")
    assert dangers() == []
    entry = photo("10.0")
    assert [f"Danger from note {used['id']}: Entry {entry} reads pH 10.0" in d for d in dangers()] == [True]
    safe = {"kind": "made_safe", "data": {"note": used["id"], "what": "acid to pH 2"}}
    assert client.post(notes, json=safe).status_code == 201
    assert dangers() == []
    photo("9.5")  # alkaline again, later
    assert len(dangers()) == 1
    assert client.post(notes, json={**safe, "data": {**safe["data"], "what": "again"}}).status_code == 201
    for n in (1, 2, 3):
        client.post(notes, json={"kind": "decant", "data": {"name": f"wash {n}", "litres": 1}})
    photo("9.5")  # three washes since: washed out
    assert dangers() == []


def test_unknown_contents_are_asked_about(pour):
    asked = pour(what="x", litres=1, ph=7, contents=["gubbins"])
    assert asked.status_code == 422
    assert "what is 'gubbins'?" in asked.json()["detail"]


def test_a_second_weight_is_asked_about(client):
    batch = client.post("/api/batches", json={"name": "two"}).json()["id"]
    notes = f"/api/batches/{batch}/notes"
    weight = {"of": "chloride", "grams": 100.0, "moisture": [0.0, 0.0]}
    assert client.post(notes, json={"kind": "weight", "data": weight}).status_code == 201
    asked = client.post(notes, json={"kind": "weight", "data": {**weight, "grams": 50.0}})
    assert asked.status_code == 422
    assert "replaces" in asked.json()["detail"]
    lot = {**weight, "grams": 50.0, "again": "adds"}
    assert client.post(notes, json={"kind": "weight", "data": lot}).status_code == 201
    found = client.get(f"/api/batches/{batch}/bench").json()["balance"]["expected_g"]
    assert found[1] == pytest.approx(150.0 * 0.752648, rel=1e-4)


def test_the_waste_plan(client):
    held = client.get("/api/plan/waste", params={"poured": "5:1", "contains": "silver", "ammonia": True}).json()
    assert held["ways"] == []
    assert any("never make it alkaline" in line for line in held["lines"])
    acid = client.get("/api/plan/waste", params={"poured": ["3:1", "2:1.5"]}).json()
    assert acid["stock"]["litres"] == pytest.approx(5.0)
    assert acid["ways"]
    for wrong in ({"poured": "5:1", "contains": "gubbins"}, {"poured": "five:1"}, {"poured": "nan:1"}):
        assert client.get("/api/plan/waste", params=wrong).status_code == 422


def test_the_yield_plan(client):
    found = client.get("/api/plan/yield", params={"chloride_g": ["100 g", "50"], "moisture": "drained"}).json()
    assert found["expected_g"] == pytest.approx([56.4, 73.4, 90.4], abs=0.05)
    for wrong in ({}, {"metal_g": "0"}, {"metal_g": "10", "chloride_g": "10"}, {"metal_g": "10", "decant": "much"}):
        assert client.get("/api/plan/yield", params=wrong).status_code == 422
