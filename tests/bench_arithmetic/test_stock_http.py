"""The stock vessel over HTTP: stops as problems with a code, plans that give no dose where none may be given."""

from __future__ import annotations

import pytest
from fastapi.testclient import TestClient

from service.web.app import create_app
from tests.server.conftest import settings_in


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
    assert found["expected_g"] == pytest.approx([56.4, 73.4, 90.4], abs=0.2)
    for wrong in ({}, {"metal_g": "0"}, {"metal_g": "10", "chloride_g": "10"}, {"metal_g": "10", "decant": "much"}):
        assert client.get("/api/plan/yield", params=wrong).status_code == 422
