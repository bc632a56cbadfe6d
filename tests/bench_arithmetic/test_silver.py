"""Silver's solubility and the lye equilibrium against PHREEQC with four databases."""

from __future__ import annotations

import csv
import math
from collections import defaultdict
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.bench.chemistry.lye import after_portions, chloride_over_hydroxide, plan_lye, plan_sugar, portions_needed
from service.bench.chemistry.silver import ammonia_solubility, chloride_solubility, least_soluble

# Source of every number here: tests/data/silver_solubility.csv, computed with PHREEQC and the databases minteq.v4
# (NIST 46), sit (ThermoChimie), llnl and Thermoddem 1.10.
with (Path(__file__).parents[1] / "data" / "silver_solubility.csv").open() as _file:
    ROWS = list(csv.DictReader(_file))
OWN_NAME = {"minteq.v4": "nist46"}


def _conditions():
    found = defaultdict(dict)
    for row in ROWS:
        if row["case"] in ("temperature", "chloride"):
            key = (float(row["conc_mol_per_kgw"]), float(row["temp_c"]))
            found[key][row["database"]] = float(row["dissolved_ag_mg_per_kgw"])
    return found


CONDITIONS = _conditions()


@pytest.mark.parametrize("condition", [c for c in CONDITIONS if c[0] <= 0.1], ids=str)
def test_water_and_dilute_acid_within_fifteen_percent(condition):
    table = CONDITIONS[condition]
    middle = math.exp(sum(math.log(v) for v in table.values()) / len(table))
    got = chloride_solubility(*condition)
    assert got.mg_l == pytest.approx(middle, rel=0.1)  # they lie 2 to 66 % apart
    if condition[0] <= 0.02:  # there the databases themselves agree: every row must be met
        assert all(got.mg_l == pytest.approx(v, rel=0.15) for v in table.values())


@pytest.mark.parametrize("condition", list(CONDITIONS), ids=str)
def test_the_range_holds_every_database_and_the_value_lies_among_them(condition):
    table = CONDITIONS[condition]
    got = chloride_solubility(*condition)
    assert all(got.low <= v <= got.high for v in table.values())
    assert min(table.values()) * 0.95 <= got.mg_l <= max(table.values()) * 1.05


@pytest.mark.parametrize("database", ["llnl", "thermoddem", "sit", "minteq.v4"])
def test_own_equations_with_a_databases_constants_give_its_rows(database):
    misses = []
    for condition, table in CONDITIONS.items():
        got = chloride_solubility(*condition).by_set.get(OWN_NAME.get(database, database))
        if got is not None and database in table:
            misses.append(abs(got / table[database] - 1.0))
    assert len(misses) > 10
    assert max(misses) < 0.04


def test_the_minimum_lies_at_a_few_millimoles():
    # Source: the same tables: 0.055 mg/L at 2-4e-3 mol/L chloride.
    chloride, silver = least_soluble()
    assert 1.5e-3 < chloride < 4.5e-3
    assert silver == pytest.approx(0.055, abs=0.001)  # printed to two digits


@pytest.mark.parametrize("strength", [0.1, 0.5, 1.0, 2.0, 3.0])
def test_ammonia_lies_between_ideal_and_davies(strength):
    rows = {r["database"]: float(r["dissolved_ag_mg_per_kgw"]) for r in ROWS
            if r["case"] == "ammonia" and float(r["conc_mol_per_kgw"]) == strength}  # fmt: skip
    got = ammonia_solubility(strength)
    assert got.low == pytest.approx(rows["ideal"], rel=0.01)
    assert got.high == pytest.approx(rows["minteq.v4"], rel=0.02)


@pytest.mark.parametrize("row", [r for r in ROWS if r["case"] == "lye"], ids=lambda r: f"{r['temp_c']}-{r['database']}")
def test_lye_equilibrium_within_its_doubt_and_near_the_table(row):
    low, value, high = chloride_over_hydroxide(float(row["temp_c"]), float(row["conc_mol_per_kgw"]))
    table = float(row["chloride_over_hydroxide"])
    assert low < table < high
    assert value == pytest.approx(table, rel=0.08)  # two databases, of which the value can be only one
    assert high / low >= 3.9  # the models are not better than a factor 2 each way


def test_one_stoichiometric_dose_cannot_finish():
    cold = plan_lye(1.0, 1.0, 1, 25.0)
    hot = plan_lye(1.0, 1.0, 1, 90.0)
    assert cold.unconverted[0] > 0.95
    assert 0.7 < hot.unconverted[0] < hot.unconverted[1] < 0.95


@given(st.floats(0.2, 5.0), st.integers(1, 30), st.floats(0.005, 0.4), st.floats(0.0, 0.5))
@settings(max_examples=60)
def test_a_portion_never_unconverts_and_keeps_to_the_equilibrium(portion, count, k, carried):
    before = after_portions(1.0, portion, count, k, carried)
    after = after_portions(1.0, portion, count + 1, k, carried)
    assert 0.0 <= after <= before <= 1.0
    first = 1.0 - after_portions(1.0, portion, 1, k, carried)
    assert first <= k / (1.0 + k) * portion + 1e-12


def test_hotter_needs_fewer_portions():
    cold, hot = (portions_needed(1.0, 2.0, chloride_over_hydroxide(t, 3.0)[1]) for t in (25.0, 90.0))
    assert hot is not None
    assert cold is not None
    assert hot < cold / 4


def test_sugar_pulls_it_through_unless_lye_runs_short():
    enough, short = plan_sugar(1.0, 3.0, 70.0), plan_sugar(1.0, 1.0, 70.0)
    assert enough.unconverted[2] <= 0.03
    assert short.unconverted[0] > 0.3
    assert "run short" in short.sentence


@pytest.mark.parametrize(
    "call",
    [
        lambda: chloride_solubility(-1.0),
        lambda: chloride_solubility(20.0),
        lambda: ammonia_solubility(99.0),
        lambda: chloride_over_hydroxide(150.0),
    ],
)
def test_out_of_range_is_refused(call):
    with pytest.raises(ValueError, match="outside"):
        call()
