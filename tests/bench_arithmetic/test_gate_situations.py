"""Worked situations of gates, forecasts and doses, a fault in each input of each, through HTTP and the command line."""

from __future__ import annotations

import ast
import inspect
import shlex
from collections import Counter
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

import service.bench
from service.bench.gates.copper import Metal, judge_copper
from service.bench.gates.neutral import judge_neutral
from service.bench.gates.pale import judge_pale
from service.bench.gates.weight import Weighing, judge_weight
from service.bench.readings import LoggedPh, LoggedSolid, LoggedTint, Observation
from service.bench.stages.gate_kinds import PaleBelow, PhNeutral, TintNone, WeightConstant
from service.bench.washing.phases import forecast
from service.commands.plan import lye
from service.commands.plan_waste import command as waste
from service.web.app import create_app
from stripread.tint.conditions import TintConditions
from tests.bench_arithmetic import situations
from tests.bench_arithmetic.situations import CASES

NOT_DONE = ("ok", "cannot tell", "stalled")
ROOM = Path(service.bench.__file__).parent / "gates"
KINDS = (Observation, LoggedPh, LoggedTint, LoggedSolid, TintConditions, Metal, Weighing)
RULES = {"copper": TintNone, "neutral": PhNeutral, "pale": PaleBelow, "weight": WeightConstant}
JUDGES = {"copper": judge_copper, "neutral": judge_neutral, "pale": judge_pale, "weight": judge_weight}
# What is read by way of others: `entry` only names an entry, a reading's sd comes of its interval.
WITHIN = {"conditions": {"ammonia_ph", "flakes", "ammonia_excess"}, "ammonia": set(), "entry": set(), "sd": set()}
NO_AMOUNT = {"as_json", "unit", "no_sugar", "sugar"}  # options of plans that choose words, not amounts


@pytest.fixture(scope="module")
def client(tmp_path_factory):
    with TestClient(create_app(situations.settings_with_strips(tmp_path_factory.mktemp("gates")))) as c:
        yield c


def _of(*gates):
    return [pytest.param(c, id=f"{c['gate']}: {c['what']}") for c in CASES if c["gate"] in gates]


def _held(found, case):
    assert found["state"] == case["right"], found["sentence"]
    assert found["sentence"].endswith(".")


@pytest.mark.parametrize("case", _of("copper"))
def test_the_copper_gate(client, case):
    _held(situations.copper(client, case), case)


@pytest.mark.parametrize("case", _of("neutral"))
def test_the_neutral_gate(client, case):
    _held(situations.washes(client, case).gate(), case)


@pytest.mark.parametrize("case", _of("pale"))
def test_the_gate_of_the_solid(client, case):
    _held(situations.pale(client, case), case)


@pytest.mark.parametrize("case", _of("weight"))
def test_the_weight_gate(client, case, monkeypatch):
    _held(situations.weight(client, case, monkeypatch), case)


def _as_right(status, chance, case):
    assert status in NOT_DONE if case["right"] == "not done" else status == case["right"]
    if case["right"] != "done":
        assert (chance or 0.0) < 0.5, "no done where it is not"


@pytest.mark.parametrize("case", _of("forecast"))
def test_a_forecast(case):
    found = situations.forecast(case)
    _as_right(found["status"], found["done_now"], case)
    if case["right"] != "not done":
        assert (found["washes"] is not None) == (case["right"] in ("ok", "done"))


@pytest.mark.parametrize("case", _of("batch forecast"))
def test_a_forecast_of_a_batch(client, case):
    bench = situations.washes(client, case)
    found = client.get(f"/api/batches/{bench.batch}/forecast").json()
    _as_right(found["status"], found.get("done_chance"), case)


@pytest.mark.parametrize("case", _of("dose"))
def test_a_dose(case):
    found = situations.planned(*shlex.split(case["args"]))
    if case["right"] == "asked back":
        assert found is None
    else:
        assert found is not None
        assert bool(found.get("ways") or found.get("dose")) == (case["right"] == "dose")


def _read_by(gate):
    """The inputs that a gate's file reads: fields and methods of what it is handed, of its rule, and its arguments."""
    tree = ast.parse((ROOM / f"{gate}.py").read_text(encoding="utf-8"))
    names = {node.attr for node in ast.walk(tree) if isinstance(node, ast.Attribute)}
    inputs = {name for kind in (*KINDS, RULES[gate]) for name in dir(kind) if not name.startswith(("_", "model_"))}
    inputs |= {name for kind in (*KINDS, RULES[gate]) for name in kind.__annotations__} - {"kind", "model_config"}
    found = {one for name in names & inputs for one in WITHIN.get(name, {name})}
    return found | (set(inspect.signature(JUDGES[gate]).parameters) - {"gate", "metal", "weighings", "observations"})


@pytest.mark.parametrize("gate", JUDGES)
def test_each_input_that_a_gate_reads_has_a_situation_with_a_fault_in_it(gate):
    faulty = {c["input"] for c in CASES if c["gate"] == gate and "input" in c and c["right"] != "open"}
    assert _read_by(gate) - faulty == set()


def test_each_input_of_forecasts_and_of_doses_has_a_situation_with_a_fault_in_it():
    faulty = {c["input"] for c in CASES if c["gate"].endswith("forecast") and "input" in c}
    assert set(inspect.signature(forecast).parameters) - faulty == set()
    amounts = {option.name for plan in (lye, waste) for option in plan.params} - NO_AMOUNT
    assert amounts - {c["input"] for c in CASES if c["gate"] == "dose" and "input" in c} == set()


def test_every_situation_says_why_and_from_where_and_gates_open_somewhere():
    assert len({(c["gate"], c["what"]) for c in CASES}) == len(CASES) >= 150
    assert all(c["why"] and c["source"] for c in CASES)
    rights = Counter((c["gate"], c["right"]) for c in CASES)
    assert all(rights[gate, "open"] for gate in ("copper", "neutral", "pale", "weight"))
    assert all(rights[what] for what in (("forecast", "done"), ("forecast", "ok"), ("batch forecast", "done")))
    assert rights["dose", "dose"] >= 2
    held = [c for c in CASES if c["right"] in ("hold", "cannot tell", "not done", "asked back", "no dose", "stalled")]
    assert not [c["what"] for c in held if "input" not in c]
