"""Chalk of hard water in a batch's own balance, from the washes that its log tells: by hand against PHREEQC's table."""

from __future__ import annotations

import pytest

from service.bench.notes import Note, checked
from service.bench.procedure import load_procedure
from service.bench.readings import Observation, logged
from service.bench.state import state_of
from service.bench.state_view import balance_view
from service.bench.washing.chalk import chalk_of

# Source: tests/data/lye_wash_chalk.csv (PHREEQC, phreeqc.dat): 0.179, 0.197 and 0.057 g/L in the first three washes
# after lye at 4 mmol/L, 0.024 in the fourth.
THREE = 0.179 + 0.197 + 0.057
START = {"of": "chloride", "grams": 100.0, "moisture": [0.0, 0.0]}
ACID = [("decant", {"name": f"wash {n}", "litres": 0.5}) for n in (1, 2, 3)]
LYE = ("used", {"what": "lye (NaOH)", "grams": 50.0})
WASHES = [("decant", {"name": f"wash {n}", "litres": 1.0}) for n in (4, 5, 6)]
POWDER = ("weight", {"of": "powder", "grams": 75.0})


def _notes(*said):
    rows = [("weight", START), *said]
    return [Note(checked(kind, data), f"2026-03-01T{n:02d}:00:00", n + 1) for n, (kind, data) in enumerate(rows)]


def _read(hour, wash, ph):
    reading = logged({"kind": "ph", "status": "ok", "ph": ph, "interval": [ph - 0.2, ph + 0.2]})
    return Observation(f"2026-03-01T{hour:02d}:30:00", reading, wash)


def _state(notes, observations=(), alkalinity=4.0, water="tap"):
    return state_of(notes, list(observations), alkalinity, water)


def test_three_hard_litres_after_lye_weigh_with_the_powder():
    spent = ("decant", {"name": "spent lye", "litres": 2.0})  # no wash yet: nothing of the water fell there
    state = _state(_notes(*ACID, LYE, spent, *WASHES, POWDER))
    low, value, high = state.balance.chalk_g
    assert value == pytest.approx(THREE, abs=1e-6)
    assert low == pytest.approx(THREE / 3.0, abs=1e-6)
    assert high > value
    assert state.balance.weighed_g[1] == pytest.approx(75.0 - THREE, abs=1e-6)
    without = _state(_notes(*ACID, LYE, spent, *WASHES, POWDER), alkalinity=0.0)
    assert without.balance.share[1] > state.balance.share[1]
    shown = balance_view(state.balance)
    assert shown.chalk_g == state.balance.chalk_g
    assert shown.chalk_note == "3 washes after lye; water of 4 mmol/L alkalinity."
    assert any("chalk" in tip for tip in state.worth_doing)


@pytest.mark.parametrize("water", ["tap", "unknown", None])
def test_where_the_water_is_not_known_the_range_starts_at_nothing_and_says_why(water):
    found = _state(_notes(LYE, *WASHES, POWDER), alkalinity=None, water=water).balance
    assert found.chalk_g[0] == 0.0
    assert found.chalk_g[2] == pytest.approx(3.0 * 4.0 * 0.05005, rel=0.01)  # all the lime of hard water
    assert found.weighed_g[2] == pytest.approx(75.0)  # it may all be silver
    assert "not known" in found.chalk_note


@pytest.mark.parametrize(
    ("said", "alkalinity", "water"),
    [
        ([LYE, *WASHES, POWDER], None, "pure"),
        ([LYE, *WASHES, POWDER], 0.0, "tap"),
        ([*ACID, POWDER], 4.0, "tap"),  # no lye: acid washes drop none
        ([*WASHES, LYE, POWDER], 4.0, "tap"),  # not washed since
    ],
)
def test_no_chalk_where_none_can_be(said, alkalinity, water):
    state = _state(_notes(*said), alkalinity=alkalinity, water=water)
    assert state.balance.chalk_g == (0.0, 0.0, 0.0)
    assert state.balance.chalk_note == ""
    assert not any("chalk" in tip for tip in state.worth_doing)


def test_washes_that_only_readings_tell_take_the_water_of_the_others():
    # Three acid washes of 0.5 L; lye; of the washes 4 to 6 only two were read, none was poured off in writing.
    notes = _notes(*ACID, LYE, POWDER)
    seen = [_read(2, 3, 5.6), _read(4, 4, 12.5), _read(4, 6, 10.5)]
    chalk = chalk_of(notes, seen, load_procedure("chloride_lye_sugar"), "tap", 4.0)
    assert chalk.washes == 3
    assert chalk.grams[1] == pytest.approx(0.5 * THREE, abs=1e-6)
    assert chalk.grams[0] == 0.0
    assert chalk.grams[2] > 1.5 * chalk.grams[1]
    assert "3 without a decant written down, taken as 0.5 L" in chalk.why
    alone = chalk_of(_notes(LYE, POWDER), seen, load_procedure("chloride_lye_sugar"), "tap", 4.0)
    assert "not known" in alone.why


def test_an_acid_rinse_may_have_taken_it_out_and_melting_leaves_it_in_the_slag():
    rinse = ("acid_rinse", {"acid_mol": 0.004, "oxide_silver_g": 0.0})
    chalk = _state(_notes(LYE, *WASHES, rinse, POWDER)).balance
    assert chalk.chalk_g[0] == 0.0
    assert chalk.chalk_g[1] == pytest.approx(THREE - 0.004 * 50.04, abs=1e-4)  # CaCO3 + 2 H+: 100.09 g for 2 mol
    assert "acid rinse" in chalk.chalk_note
    melted = ("weight", {"of": "silver", "grams": 74.0})
    found = _state(_notes(LYE, *WASHES, POWDER, melted)).balance
    assert found.chalk_g == (0.0, 0.0, 0.0)
    assert "slag" in found.chalk_note


def test_going_on_from_the_lye_stage_begins_lye_washes_without_a_reagent_note():
    moves = [
        ("move", {"to": to, "state": "open", "sentence": "made up"}) for to in ("neutral-wash", "lye-sugar", "lye-wash")
    ]
    assert _state(_notes(*moves, *WASHES, POWDER)).balance.chalk_g[1] == pytest.approx(THREE, abs=1e-6)
