"""Stalls have names, and the chalk of lye washes has grams: against PHREEQC's tables."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from service.bench.washing.stalls import OXIDE_AIRED_PH, OXIDE_PH, Wash, chalk_g, chalk_sentence, stall
from service.cli import app

DATA = Path(__file__).parents[1] / "data"
SOFT = (5.6, 7.0)


def _washes(*phs, first=1):
    return [Wash(n, ph, (ph - 0.3, ph + 0.3)) for n, ph in enumerate(phs, first)]


def test_the_ph_of_oxide_is_the_tables():
    with (DATA / "stall.csv").open() as f:
        rows = {row["air"]: float(row["ph"]) for row in csv.DictReader(f) if "oxide" in row["case"]}
    assert pytest.approx(rows["kept from air"]) == OXIDE_PH
    assert pytest.approx(rows["aired"]) == OXIDE_AIRED_PH


@pytest.mark.parametrize(
    ("washes", "after", "water", "code"),
    [
        (_washes(12.6, 11.6, 10.2, 10.1, 10.1), "lye", SOFT, "oxide"),  # tests/data/stall.csv
        (_washes(12.6, 11.0, 8.8, 8.7, 8.7), "lye", SOFT, "oxide"),  # aired
        (_washes(12.6, 11.0, 8.8, 8.7, 8.7), "lye", (7.5, 8.7), None),  # hard water, aired, reads so itself
        (_washes(12.6, 11.7, 10.7, 9.7, 8.7), "lye", SOFT, None),  # a tenth a wash: tests/data/lye_wash_chalk.csv
        (_washes(12.6, 10.2, 10.1), "lye", SOFT, None),  # two are no stall yet
        (_washes(1.0, 2.0, 3.1, 4.0, 4.1, 4.0, 4.1, 4.0, 4.1, 4.0), "acid", SOFT, "clots"),
        (_washes(1.0, 2.0, 3.0, 4.0, 4.6, 5.2), "acid", SOFT, None),  # it moves
        (_washes(1.0, 3.0, 5.6, 5.6, 5.6, 5.6), "acid", SOFT, None),  # water that stood in air
        (_washes(10.1, 10.1, 10.1, 10.1), "acid", SOFT, None),  # no such stall in an acid wash
        (_washes(1.3, 1.9, 2.5, 3.1, 3.2, 3.5, 3.4), "acid", SOFT, None),  # a noisy course that moves
        (_washes(9.8, 9.5, 9.8), "lye", SOFT, None),  # near, not at the oxide's pH
        ([Wash(3, 10.1, (9.8, 10.4))] * 5, "lye", SOFT, None),  # five photos of one wash
    ],
)
def test_a_stall_by_name(washes, after, water, code):
    found = stall(washes, after, water)
    assert (found.code if found else None) == code
    if code == "oxide":
        assert "more sugar" in found.sentence
        assert "No acid" in found.sentence
    if code == "clots":
        assert "crush" in found.sentence


def _table():
    with (DATA / "lye_wash_chalk.csv").open() as f:
        return [row for row in csv.DictReader(f) if row["how"] == "chalk falls" and row["wash"] != "0"]


@pytest.mark.parametrize("row", _table(), ids=lambda r: f"{r['alkalinity_mmol_per_l']} mmol/L wash {r['wash']}")
def test_chalk_by_the_table(row):
    # Source: PHREEQC phreeqc.dat, one litre in the wash in question and none in the others.
    litres = [1.0 if n == int(row["wash"]) else 0.0 for n in range(1, 6)]
    low, value, high = chalk_g(litres, float(row["alkalinity_mmol_per_l"]))
    assert value == pytest.approx(float(row["chalk_g_per_l"]), abs=1e-6)
    assert low <= value <= high


def test_chalk_of_three_hard_litres_by_hand():
    # 0.179 + 0.197 + 0.057 = 0.433 g; all the lime of three litres at 4 mmol/L: 3 x 2 mmol x 100.09 g/mol = 0.60 g.
    low, value, high = chalk_g([1.0, 1.0, 1.0], 4.0)
    assert value == pytest.approx(0.433, abs=0.001)
    assert high == pytest.approx(0.6, abs=0.002)
    assert low == pytest.approx(value / 3)
    assert "dilute acid" in chalk_sentence((low, value, high))
    assert chalk_sentence(chalk_g([1.0], 0.0)) is None


def test_unknown_tap_water_is_a_wide_range():
    low, value, high = chalk_g([1.0, 1.0, 1.0], None)
    assert low == 0.0
    assert 0.1 < value < high


@pytest.mark.parametrize("call", [([-1.0], 1.0), ([1.0], -1.0), ([1.0], 500.0), ([float("nan")], 1.0)])
def test_nonsense_is_refused(call):
    with pytest.raises(ValueError, match="between"):
        chalk_g(*call)


@pytest.mark.parametrize(
    ("phs", "args", "status", "words"),
    [
        ((12.6, 11.0, 10.2, 10.1, 10.1), ("--acid", "-0.5", "--kind", "air"), "stalled", "more sugar"),
        (
            (12.6, 11.0, 10.2, 10.1, 10.1),
            ("--acid", "-0.5", "--kind", "tap", "--alkalinity", "4"),
            "stalled",
            "No acid",
        ),
        ((1.0, 2.0, 3.1, 4.0, 4.1, 4.0, 4.1, 4.0, 4.1), ("--kind", "air"), "stalled", "crush"),
        ((1.0, 2.0, 3.0, 4.0), ("--kind", "air"), "ok", "more wash"),
        ((12.6, 11.6, 10.6, 9.6), ("--acid", "-0.5", "--kind", "air"), "ok", "more wash"),
    ],
)
def test_the_forecast_names_the_stall_and_gives_no_washes(phs, args, status, words):
    readings = [part for n, ph in enumerate(phs, 1) for part in ("--reading", f"{n}:{ph}")]
    call = ["plan", "wash", "--retained", "0.1", "--added", "0.9", *args, *readings]
    found = json.loads(CliRunner().invoke(app, [*call, "--json"]).output)["forecast"]
    assert found["status"] == status
    assert words in found["sentence"]
    assert (found["washes"] is None) == (status == "stalled")


def test_the_wash_plan_after_lye_tells_the_chalk_of_hard_water():
    # 0.9 L in each of four washes: 0.9 x (0.179 + 0.197 + 0.057 + 0.024) = 0.41 g, tests/data/lye_wash_chalk.csv.
    call = ["plan", "wash", "--retained", "0.1", "--added", "0.9", "--kind", "tap", "--alkalinity", "4"]
    assert "0.41 g" in CliRunner().invoke(app, [*call, "--acid", "-0.5"]).output
    assert "chalk" not in CliRunner().invoke(app, call).output  # none falls after acid
