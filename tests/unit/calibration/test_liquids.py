"""Liquids at hand: their pH against physics and published values, and what each must say of itself."""

import numpy as np
import pytest
from scipy.optimize import brentq

from calibration.liquids.table import liquid_ph, liquids
from calibration.tables import read_buffers
from service.bench.chemistry.water import constants, log_gamma, ph_from_acid


def gamma(ionic, charge=1, temp_c=25.0):
    return 10.0 ** float(log_gamma(ionic, charge, temp_c))


def weak_acid(molar, pka, temp_c):
    """pH of a weak acid alone: h - c K / (K + a_h g) = 0, with the activity of its own ions."""

    def balance(ph):
        ionic = 10.0**-ph
        g = gamma(ionic, 1, temp_c)
        return ionic / g - molar * 10.0**-pka / (10.0**-pka + 10.0**-ph * g)

    return brentq(balance, 0.0, 7.0)


# pKa of acetic acid 4.756, of citric acid's first step 3.128, of sulfamic acid 0.99, pKsp of brucite 11.15 at 25 °C:
# from memory. Carbonates and water: service/bench/chemistry/water.py, tested there against PHREEQC's expressions.
@pytest.mark.parametrize("temp_c", [20.0, 25.0])
def test_household_liquids_are_where_equilibria_put_them(temp_c):
    water = -constants(temp_c).kw
    brucite = brentq(lambda x: np.log10(4 * x**3 * gamma(3 * x, 2) * gamma(3 * x) ** 2) + 11.15, 1e-6, 1e-2)
    expected = {
        "vinegar": weak_acid(0.85, 4.756, temp_c),
        "vinegar_tenth": weak_acid(0.085, 4.756, temp_c),
        "citric_acid": weak_acid(0.05, 3.128, temp_c),
        "sulfamic_acid": weak_acid(0.103, 0.99, temp_c),
        "baking_soda": float(ph_from_acid(-1.0, total_carbon=1.0, temp_c=temp_c)),
        "baking_soda_weak": float(ph_from_acid(-0.1, total_carbon=0.1, temp_c=temp_c)),
        "washing_soda": float(ph_from_acid(-0.2, total_carbon=0.1, salt=0.1, temp_c=temp_c)),
        "milk_of_magnesia": water + np.log10(2 * brucite * gamma(3 * brucite)),
        "lye_tenth": water + np.log10(0.1 * gamma(0.1, 1, temp_c)),
    }
    for key, ph in expected.items():
        found, sd = liquid_ph(key, temp_c)
        assert abs(found - ph) < max(0.03, 0.5 * sd), f"{key}: {found} beside {ph:.2f}"
    others = {k for k, liquid in liquids().items() if liquid.sort == "household"} - set(expected)
    assert others == {"limewater", "cream_of_tartar"}  # published


def test_vinegar_of_four_to_six_per_cent_is_within_its_width():
    low, high = (weak_acid(percent * 10.05 / 60.05, 4.756, 25.0) for percent in (6.0, 4.0))
    ph, sd = liquid_ph("vinegar", 25.0)
    assert ph - 2 * sd < low < high < ph + 2 * sd


def test_limewater_is_the_bureaus():
    # Bates, Bower and Smith, J. Res. NBS 56, 305 (1956), abstract: 12.45 at 25 °C, -0.033 a degree.
    assert liquid_ph("limewater", 25.0)[0] == pytest.approx(12.45, abs=0.01)
    for temp_c in (15.0, 20.0, 30.0):
        ph, sd = liquid_ph("limewater", temp_c)
        assert ph == pytest.approx(12.45 - 0.033 * (temp_c - 25.0), abs=0.5 * sd)


def test_caustic_and_burning_liquids_say_so_and_each_says_where_it_is_from():
    for key, liquid in liquids().items():
        assert liquid.source
        assert liquid.made.endswith(".")
        for temp_c, ph, sd in liquid.rows:
            assert 0.005 <= sd <= 0.3
            if not 1.5 < ph < 11.4:
                assert liquid.caution.endswith("."), f"{key}: pH {ph} at {temp_c}"
        temps = [row[0] for row in liquid.rows]
        assert temps == sorted(set(temps))


def test_a_table_of_photos_takes_a_liquid_by_name(tmp_path):
    (tmp_path / "a.jpg").write_bytes(b"")
    table = tmp_path / "b.csv"
    table.write_text("photo,buffer,temp_c\na.jpg,limewater,20\na.jpg,borax,25\n", encoding="utf-8")
    lime, borax = read_buffers(table)
    assert (lime.ph, lime.ph_sd) == (12.62, 0.05)
    assert borax.ph == pytest.approx(9.18, abs=0.01)


def test_unknown_liquids_and_temperatures_beyond_the_table():
    with pytest.raises(ValueError, match=r"no buffer 'cola'.*limewater"):
        liquid_ph("cola", 20.0)
    with pytest.raises(ValueError, match="limewater runs from 10 to 30"):
        liquid_ph("limewater", 45.0)
