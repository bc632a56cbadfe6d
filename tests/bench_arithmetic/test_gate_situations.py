"""Worked situations of gates and forecasts, a fault in each input of each gate, through HTTP and the command line."""

from __future__ import annotations

import json
import tomllib
from collections import Counter
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner
from fastapi.testclient import TestClient

from service.cli import app
from service.log.notes import add_note
from service.web.app import create_app
from tests.server.conftest import a_photo, settings_in

CASES = tomllib.loads((Path(__file__).parents[1] / "data" / "gate_situations.toml").read_text(encoding="utf-8"))["case"]
RIGHT = {"ammonia_ph": 9.8, "flakes": "no", "liquid": "acid", "sample_ml": 3, "drops": 10, "path_mm": 20}
GATES = {
    "neutral": 'gate = { kind = "ph_neutral", band = [6.0, 8.0] }\nread = ["ph"]',
    "pale": 'gate = { kind = "pale_below", share = 0.01 }\nread = ["solid"]',
}


@pytest.fixture(scope="module")
def client(tmp_path_factory):
    with TestClient(create_app(settings_in(tmp_path_factory.mktemp("gates")))) as c:
        yield c


class Bench:
    """A batch over HTTP, its photos taken half an hour apart, the first twenty hours ago."""

    def __init__(self, client, batch=None):
        self.client = client
        water = {key: value for key, value in (batch or {}).items() if key in ("water", "alkalinity_mmol_l")}
        body = {"name": "A situation", **({"water": water} if water else {})}
        self.batch = client.post("/api/batches", json=body).json()["id"]
        self.water = water
        self.start, self.minutes = datetime.now(UTC) - timedelta(hours=20), 0

    def procedure(self, gate):
        """A procedure of one stage, as `batch new --procedure FILE` writes it."""
        text = f'[[stage]]\nid = "a"\ntitle = "A"\n{GATES[gate]}'
        with self.client.app.state.service.database.write() as c:
            add_note(c, self.batch, "procedure", {"text": text})

    def note(self, kind, **data):
        answer = self.client.post(f"/api/batches/{self.batch}/notes", json={"kind": kind, "data": data})
        assert answer.status_code == 201, answer.text

    def photo(self, kind, orders, minutes=None, **form):
        self.minutes = self.minutes + 30 if minutes is None else minutes
        files = {"photo": ("snap.jpg", a_photo(orders), "image/jpeg")}
        form = {key: value for key, value in form.items() if value != ""}
        form |= {"kind": kind, "snapped_at": (self.start + timedelta(minutes=self.minutes)).isoformat()}
        answer = self.client.post(f"/api/batches/{self.batch}/readings", files=files, data=form)
        assert answer.status_code == 200, answer.text
        return answer.json()["log"]["id"]

    def gate(self):
        return self.client.get(f"/api/batches/{self.batch}/bench").json()["gate"]


def _copper(client, case):
    batch = case.get("batch", {})
    bench = Bench(client, batch)
    if case.get("leave_out") != "weight":
        bench.note("weight", of="chloride", grams=batch.get("chloride_g", 400.0), moisture=[0.0, 0.0])
    if case.get("leave_out") != "vessel":
        bench.note("vessel", retained_l=batch.get("retained_l", 0.1))
    tests = [{**RIGHT, "wash": 3 + k, **change} for k, change in enumerate(case.get("change", [{}, {}]))]
    if "first" in case:
        tests.insert(0, {**RIGHT, **case["first"]})
    for wash, ph in case.get("ph", []):
        bench.photo("ph", f"ph={ph}", wash=wash)
    for test in tests:
        bench.photo("tint", test.pop("orders", "none"), **test)
    return bench.gate()


def _neutral(client, case):
    bench = Bench(client, case.get("batch"))
    bench.procedure("neutral")
    for row in case["readings"]:
        order = "doubt" if row.get("doubt") else "ph"
        orders = "refuse" if row.get("refuse") else f"{order}={row['ph']}/{row.get('half', 0.3)}"
        entry = bench.photo("ph", orders, minutes=row.get("min"), wash=row.get("wash", ""))
        if row.get("blank"):
            water = {"water": "unknown", **bench.water, "blank_entry": entry}
            assert client.patch(f"/api/batches/{bench.batch}", json={"water": water}).status_code == 200
        change = {"wash": row["correct_to"]} if "correct_to" in row else {"withdraw": True}
        if "correct_to" in row or "withdraw" in row:
            body = {"by": "A.", "why": "a wrong number", **change}
            assert client.post(f"/api/readings/{entry}/corrections", json=body).status_code in (200, 201)
    return bench.gate()


def _pale(client, case):
    bench = Bench(client)
    bench.procedure("pale")
    bench.photo("solid", case["orders"])
    return bench.gate()


def _forecast(case):
    readings = [part for text in case["readings"] for part in ("--reading", text)]
    shown = CliRunner().invoke(app, ["plan", "wash", "--retained", "100 ml", *readings, "--json"])
    assert shown.exit_code == 0, shown.exception
    return json.loads(shown.output)["forecast"]


@pytest.mark.parametrize(
    "case", [c for c in CASES if c["gate"] != "forecast"], ids=lambda c: f"{c['gate']}: {c['what']}"
)
def test_a_gate_in_a_situation(client, case):
    found = {"copper": _copper, "neutral": _neutral, "pale": _pale}[case["gate"]](client, case)
    assert found["state"] == case["right"], found["sentence"]
    assert found["sentence"].endswith(".")


@pytest.mark.parametrize("case", [c for c in CASES if c["gate"] == "forecast"], ids=lambda c: c["what"])
def test_a_forecast_in_a_situation(case):
    found = _forecast(case)
    assert found["status"] == case["right"], found["sentence"]
    assert (found["washes"] is not None) == (case["right"] in ("ok", "done"))
    if case["right"] != "done":
        assert (found["done_now"] or 0.0) < 0.5, "no done where it is not"


def test_every_situation_says_why_and_from_where_and_gates_open_somewhere():
    assert len({(c["gate"], c["what"]) for c in CASES}) == len(CASES) >= 60
    assert all(c["why"] and c["source"] for c in CASES)
    rights = Counter((c["gate"], c["right"]) for c in CASES)
    assert all(rights[gate, "open"] for gate in ("copper", "neutral", "pale"))
    assert rights["forecast", "done"]
    assert rights["forecast", "ok"]
