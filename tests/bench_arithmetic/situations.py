"""Worked situations played through HTTP and the command line: a batch, its photos and notes, what its gate says."""

from __future__ import annotations

import json
import tomllib
from datetime import UTC, datetime, timedelta
from pathlib import Path

from click.testing import CliRunner

from service.cli import app
from service.log.notes import add_note
from tests.server.conftest import a_photo, settings_in

DATA = Path(__file__).parents[1] / "data"
FILES = ("gate_situations.toml", "gate_faults.toml")
CASES = [c for name in FILES for c in tomllib.loads((DATA / name).read_text(encoding="utf-8"))["case"]]
RIGHT = {"ammonia_ph": 9.8, "flakes": "no", "liquid": "acid", "sample_ml": 3, "drops": 10, "path_mm": 20}
GATES = {  # kind, what is read, and what a rule of the situation takes the place of
    "copper": ("tint_none", "ph", "ppm = 20.0"),
    "neutral": ("ph_neutral", "ph", "band = [6.0, 8.0]"),
    "pale": ("pale_below", "solid", "share = 0.01"),
    "weight": ("weight_constant", "", "hours = 1.0"),
}
# Strips whose range ends where a wash may well read: what stands at the end is a bound, no value.
PROFILES = {"fake": "[2.0, 7.5]", "to 4.5": "[0.0, 4.5]", "lost": ""}


def settings_with_strips(folder):
    """Settings of a service with the made-up reader and the strips of PROFILES."""
    found = []
    for name, ends in PROFILES.items():
        found.append(folder / f"{name.replace(' ', '-')}.toml")
        kind = f"\n[kind]\nrange = {ends}\n" if ends else "\n"
        found[-1].write_text(f'name = "{name}"\n{kind}', encoding="utf-8")
    return settings_in(folder, profiles=tuple(found), posts_per_minute=100_000)


class Bench:
    """A batch over HTTP, its photos taken half an hour apart, the first twenty hours ago."""

    def __init__(self, client, batch=None):
        self.client = client
        water = {key: value for key, value in (batch or {}).items() if key in ("water", "alkalinity_mmol_l")}
        body = {"name": "A situation", **({"water": water} if water else {})}
        self.batch = client.post("/api/batches", json=body).json()["id"]
        self.water = water
        self.start, self.minutes = datetime.now(UTC) - timedelta(hours=20), 0

    def procedure(self, gate, rule=None):
        """A procedure of two stages, the second with the gate, as `batch new --procedure FILE` writes it."""
        kind, read, plain = GATES[gate]
        body = f'gate = {{ kind = "{kind}", {rule or plain} }}\n' + (f'read = ["{read}"]\n' if read else "")
        text = "".join(f'[[stage]]\nid = "{name}"\ntitle = "{name}"\n{body}' for name in "ab")
        with self.client.app.state.service.database.write() as c:
            add_note(c, self.batch, "procedure", {"text": text})

    def onward(self):
        answer = self.client.post(f"/api/batches/{self.batch}/stage", json={"to": "b", "reason": "made up"})
        assert answer.status_code == 200, answer.text

    def note(self, kind, **data):
        answer = self.client.post(f"/api/batches/{self.batch}/notes", json={"kind": kind, "data": data})
        assert answer.status_code == 201, answer.text
        return answer.json()["id"]

    def photo(self, kind, orders, minutes=None, **form):
        self.minutes = self.minutes + 30 if minutes is None else minutes
        files = {"photo": ("snap.jpg", a_photo(orders), "image/jpeg")}
        form = {key: value for key, value in form.items() if value != ""}
        form |= {"confirm": "true"}  # the gate's own questions are judged here, not those before it counts
        form |= {"kind": kind, "snapped_at": (self.start + timedelta(minutes=self.minutes)).isoformat()}
        answer = self.client.post(f"/api/batches/{self.batch}/readings", files=files, data=form)
        assert answer.status_code == 200, answer.text
        return answer.json()["log"]["id"]

    def blank(self, entry):
        """Name an entry as the rinse water's own."""
        water = {"water": "unknown", **self.water, "blank_entry": entry}
        assert self.client.patch(f"/api/batches/{self.batch}", json={"water": water}).status_code == 200

    def corrected(self, entry, **change):
        body = {"by": "A.", "why": "it was wrong", **change}
        assert self.client.post(f"/api/readings/{entry}/corrections", json=body).status_code in (200, 201)

    def gate(self):
        """The gate over HTTP; the command line says the same of the same log."""
        found = self.client.get(f"/api/batches/{self.batch}/bench").json()["gate"]
        data = str(self.client.app.state.service.settings.data)
        shown = CliRunner().invoke(app, ["batch", "show", str(self.batch), "--json", "--data", data])
        assert shown.exit_code == 0, shown.exception
        assert json.loads(shown.output)["gate"] == found
        return found


def copper(client, case):
    """The copper gate, two right tests with the situation's changes."""
    batch = case.get("batch", {})
    bench = Bench(client, batch)
    if "rule" in case or "earlier" in case:
        bench.procedure("copper", case.get("rule"))
    if case.get("leave_out") != "weight":
        moisture = {} if batch.get("moisture") == "" else {"moisture": [0.0, 0.0]}
        bench.note("weight", of="chloride", grams=batch.get("chloride_g", 400.0), **moisture)
    if case.get("leave_out") != "vessel":
        bench.note("vessel", retained_l=batch.get("retained_l", 0.1))
    tests = [{**RIGHT, "wash": 3 + k, **change} for k, change in enumerate(case.get("change", [{}, {}]))]
    if "first" in case:
        tests.insert(0, {**RIGHT, **case["first"]})
    for wash, ph, *more in case.get("ph", []):
        orders = ph if isinstance(ph, str) else f"ph={ph}"
        entry = bench.photo("ph", orders, wash=wash, profile=more[0] if more else "")
        if more[1:] == ["blank"]:
            bench.blank(entry)
    if case.get("rinse_after"):
        bench.note("acid_rinse", oxide_silver_g=0, acid_mol=0.01)
        bench.start = datetime.now(UTC)  # what follows is taken after it
    vials = None
    for test in tests:
        kind = test.pop("kind", "tint")
        if test.pop("cells", False):
            test["cells_entry"] = vials
        entry = bench.photo(kind, test.pop("orders", "none"), **test)
        vials = entry if kind == "cells" else vials
    if case.get("withdraw_cells"):
        bench.corrected(vials, withdraw=True)
    if case.get("earlier"):
        bench.onward()
    return bench.gate()


def washes(client, case):
    """A batch with pH readings as the situation lists them."""
    bench = Bench(client, case.get("batch"))
    bench.procedure("neutral", case.get("rule"))
    for row in case["readings"]:
        if row.get("rinse"):
            bench.note("acid_rinse", oxide_silver_g=0, acid_mol=0.01)
            bench.start = datetime.now(UTC)
            continue
        order = "doubt" if row.get("doubt") else "end" if row.get("end") else "ph"
        beside = f"/{row['water']}/{row.get('reach', 0.3)}" if "water" in row else ""
        orders = "refuse" if row.get("refuse") else f"{order}={row['ph']}/{row.get('half', 0.3)}{beside}"
        form = {"wash": row.get("wash", ""), "profile": row.get("profile", "")}
        entry = bench.photo(row.get("kind", "ph"), orders, minutes=row.get("min"), **form)
        if row.get("blank"):
            bench.blank(entry)
        if "correct_to" in row:
            bench.corrected(entry, wash=row["correct_to"])
        if "withdraw" in row:
            bench.corrected(entry, withdraw=True)
    if any(row.get("earlier") for row in case["readings"]):
        bench.onward()
    return bench


def pale(client, case):
    """The solid's gate after the situation's pictures, by `ORDERS min=N withdraw earlier`."""
    bench = Bench(client)
    bench.procedure("pale", case.get("rule"))
    for text in case.get("pictures") or [case["orders"]]:
        orders, *more = text.split()
        minutes = next((int(word[4:]) for word in more if word.startswith("min=")), None)
        entry = bench.photo("ph" if orders.startswith("ph") else "solid", orders, minutes)
        if "withdraw" in more:
            bench.corrected(entry, withdraw=True)
        if "earlier" in more:
            bench.onward()
    return bench.gate()


def weight(client, case, monkeypatch):
    """The weight gate; the log's clock stands at the situation's hours."""
    bench = Bench(client)
    bench.procedure("weight", case.get("rule"))
    for row in case["weights"]:
        at = (bench.start + timedelta(hours=row["h"])).isoformat(timespec="microseconds")
        monkeypatch.setattr("service.log.notes.now", lambda at=at: at)
        data = {"of": row.get("of", "silver"), "grams": row["g"], "scale_g": row.get("scale", 0.01)}
        data |= {"again": row["again"]} if "again" in row else {}
        data |= {"moisture": [0.0, 0.0]} if data["of"] == "chloride" else {}
        made = bench.note("weight", **{key: value for key, value in data.items() if value != ""})
        if row.get("strike"):
            bench.note("strike", note=made, why="misread")
        if row.get("earlier"):
            monkeypatch.setattr("service.log.notes.now", lambda at=at: at.replace("+00:00", "1+00:00"))
            bench.onward()
    return bench.gate()


def planned(call, *args):
    """A plan of the command line as JSON; None where it is asked back in one line."""
    shown = CliRunner().invoke(app, ["plan", call, *args, "--json"])
    if shown.exit_code == 0:
        return json.loads(shown.output)
    asked = str(shown.exception) if not isinstance(shown.exception, SystemExit) else shown.output
    assert "Traceback" not in asked
    return None


def forecast(case):
    """The forecast of `stripread plan wash`."""
    readings = [part for text in case["readings"] for part in ("--reading", text)]
    found = planned("wash", "--retained", "100 ml", *case.get("args", "").split(), *readings)
    assert found is not None
    return found["forecast"]
