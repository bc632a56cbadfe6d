"""Rinse water and its pH against PHREEQC and published figures."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.bench.chemistry.water import (
    aired_water,
    carbon_open,
    constants,
    liquid_ph,
    ph_from_acid,
    pure_water,
    tap_water,
)

DATA = Path(__file__).parents[1] / "data"
# The table's waters: none, 420 ppm CO2, and a made-up hard tap water (2 mmol/L Ca(HCO3)2, 0.5 mmol/L NaCl, pH 7.5).
WATERS = {"pure": pure_water(), "air": aired_water(), "tap": tap_water(4e-3, 7.5, 6.5e-3)}


def _rows() -> list[dict[str, str]]:
    with (DATA / "wash_dilution.csv").open() as file:
        return [row for row in csv.DictReader(file) if float(row["chloride_mol_per_kg"]) < 0.1]


def test_every_dilute_row_of_the_dilution_table_within_a_tenth():
    # Source: PHREEQC (phreeqpython 1.6.2, phreeqc.dat), tests/data/wash_dilution.csv; first liquid 1 mol/L HCl.
    rows = _rows()
    assert len(rows) > 250
    misses = []
    for row in rows:
        share = float(row["retained_ratio"]) ** int(row["wash"])
        got = float(liquid_ph(1.0 * share, share, WATERS[row["water"]], 1.0 if row["reading"] == "open" else 0.0))
        misses.append(abs(got - float(row["ph"])))
    assert max(misses) < 0.05  # the promise is 0.1; we measured 0.03


@pytest.mark.parametrize(("ppm", "ph"), [(350, 5.64), (420, 5.60), (1000, 5.41)])
def test_pure_water_in_air_is_acid(ppm, ph):
    # Source: PHREEQC, phreeqc.dat; 5.64 at 350 ppm also by hand in a course's lecture slides.
    assert aired_water(co2_atm=ppm * 1e-6).ph() == pytest.approx(ph, abs=0.01)


@pytest.mark.parametrize(("temp", "ph"), [(25, 7.00), (40, 6.77), (60, 6.51), (90, 6.20)])
def test_neutral_falls_with_temperature(temp, ph):
    # Source: half of pKw, PHREEQC, phreeqc.dat.
    assert pure_water(temp).ph() == pytest.approx(ph, abs=0.012)


def test_carbonic_acid_at_25_degrees():
    # Source: phreeqc.dat's log k: CO2 -1.468, second step 10.329, both steps 16.681.
    c = constants(25.0)
    assert c.henry == pytest.approx(-1.468, abs=0.003)
    assert -c.k2 == pytest.approx(10.329, abs=0.002)
    assert -c.k1 - c.k2 == pytest.approx(16.681, abs=0.002)
    assert c.debye == pytest.approx(0.510, abs=0.002)  # textbooks say 0.509 to 0.512 at 25 °C, from memory


@given(st.floats(-2.0, 2.0), st.floats(0.0, 0.01))
def test_more_acid_never_reads_higher(acid, carbon):
    low = float(ph_from_acid(acid, total_carbon=carbon))
    assert float(ph_from_acid(acid + 1e-4, total_carbon=carbon)) <= low + 1e-9


@given(st.floats(1e-6, 0.1))
def test_acid_then_as_much_lye_comes_back_to_the_water(acid):
    water = tap_water(2e-3)
    assert float(liquid_ph(acid - acid, 0.0, water)) == pytest.approx(water.ph(), abs=1e-9)


def test_hard_water_jumps_where_the_acid_runs_out():
    # Source: same PHREEQC table: at r = 0.1 pH goes from about 2.3 to 6.7 in one wash.
    tap = WATERS["tap"]
    second, third = (float(liquid_ph(0.1**n, 0.1**n, tap)) for n in (2, 3))
    assert second < 2.5
    assert third > 6.5


def test_open_and_closed_agree_on_the_shape_of_arrays():
    acid = np.linspace(-0.01, 0.01, 6).reshape(2, 3)
    assert ph_from_acid(acid, total_carbon=0.001).shape == (2, 3)
    assert carbon_open(acid).shape == (2, 3)


@pytest.mark.parametrize("call", [lambda: tap_water(4.0), lambda: tap_water(0.004, 2.0), lambda: constants(-5.0)])
def test_numbers_in_wrong_units_are_refused(call):
    with pytest.raises(ValueError, match=r"not a tap water|outside"):
        call()
