"""Atomic weights, doses and heat against tables and worked examples."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from service.bench.chemistry.reagents import chloride, dose, molar_mass, portions, shown, silver_share, temperature_rise
from service.bench.quantities import amount

with (Path(__file__).parents[1] / "data" / "constants.csv").open() as _file:
    TABLE = {row["quantity"]: row["value"] for row in csv.DictReader(_file)}


@pytest.mark.parametrize("symbol", ["Ag", "Cl", "Na", "O", "H", "Cu", "C", "N"])
def test_atomic_weights(symbol):
    # Source: periodictable's abridged standard atomic weights of IUPAC/CIAAW, tests/data/constants.csv.
    assert molar_mass(symbol) == pytest.approx(float(TABLE[f"atomic weight {symbol}"]), rel=1e-5)


def test_silver_in_the_chloride_by_hand():
    # 107.8682 / (107.8682 + 35.45) = 0.7526; molmass, an independent library, gives 0.752633.
    assert silver_share() == pytest.approx(107.8682 / 143.3182, rel=1e-5)
    assert silver_share() == pytest.approx(0.752633, abs=3e-5)


@pytest.mark.parametrize(
    ("quantity", "numerator", "denominator"),
    [
        ("NaOH per g AgCl, 2 AgCl + 2 NaOH = Ag2O + 2 NaCl + H2O", ("NaOH", 1.0), "AgCl"),
        ("glucose per g AgCl", ("C6H12O6", 0.5), "AgCl"),
        ("glucose per g Ag, Ag2O + C6H12O6 = 2 Ag + C6H12O7", ("C6H12O6", 0.5), "Ag"),
        ("NaOH to neutralise the gluconic acid, per g Ag", ("NaOH", 0.5), "Ag"),
    ],
)
def test_factors(quantity, numerator, denominator):
    # Source: tests/data/constants.csv, derived from periodictable.
    name, share = numerator
    assert molar_mass(name) * share / molar_mass(denominator) == pytest.approx(float(TABLE[quantity]), rel=1e-4)


def test_a_dose_for_a_hundred_grams_by_hand():
    # 100 g AgCl = 0.69775 mol. Lye 1.5 mol a mol of 39.997 g, pure, no excess: 41.86 g. Glucose 0.5 mol: 62.85 g.
    got = dose(chloride(100.0), lye_excess=1.0, sugar_excess=1.0, purity=1.0)
    assert got.lye_g[1] == pytest.approx(41.86, abs=0.02)
    assert got.sugar_g[1] == pytest.approx(62.85, abs=0.02)
    assert got.water_l[1] == pytest.approx(0.4)  # solids at most a fifth by mass; common practice, no source
    alone = dose(chloride(100.0), lye_excess=1.0, purity=1.0, with_sugar=False)
    assert alone.lye_g[1] == pytest.approx(27.91, abs=0.01)


def test_lye_into_water_warms_it():
    # Source: 44.5 kJ/mol (worked calorimetry; from memory): 100 g in 400 g of water, no losses, some 53 degrees.
    assert temperature_rise(100.0 / 39.997 * 44.5, 500.0) == pytest.approx(53.0, abs=0.5)
    assert portions(53.0, 8.0) == 7


def test_wet_cake_is_a_range():
    got = chloride(500.0, (0.2, 0.4), scale_g=1.0)
    assert got.dry_g[0] == pytest.approx(499.0 * 0.6)
    assert got.dry_g[2] == pytest.approx(501.0 * 0.8)
    assert got.silver_g[0] < got.silver_g[1] < got.silver_g[2]


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [("100", "g", 100.0), ("2 lb", "g", 907.18474), ("1 troy_ounce", "g", 31.1034768), ("1,5 kg", "g", 1500.0),
     ("500 ml", "l", 0.5), ("1 US gallon", "l", 3.785411784)],
)  # fmt: skip
def test_units(text, unit, value):
    # Source: the international pound, troy ounce and US gallon are exact by definition (from memory, not looked up).
    assert amount(text, unit) == pytest.approx(value, rel=1e-9)


@pytest.mark.parametrize(
    "text", ["", "abc", "3 l", "-1 g", "nan", "1e999", "1 g + ", "__import__('os')", "9**9**9**9 g", "1 g**9"]
)
def test_amounts_that_are_none(text):
    with pytest.raises(ValueError, match="amount"):
        amount(text, "g")


def test_shown_in_the_unit_wanted():
    assert shown(31.1034768, "g", "troy_ounce") == "1 troy ounce"
    assert shown(2.0, "g", None) == "2 g"


@pytest.mark.parametrize("call", [lambda: chloride(0.0), lambda: chloride(1.0, (0.5, 1.0)),
                                  lambda: dose(chloride(1.0), lye_excess=0.5), lambda: molar_mass("Xx9")])  # fmt: skip
def test_nonsense_is_refused(call):
    with pytest.raises(ValueError, match=r"."):
        call()
