"""Water's constants to the ends of their range, and a liquid that holds no carbonate."""

import math

import pytest

from service.bench.chemistry.water import RinseWater, carbon_at, constants, liquid_ph, log_gamma, ph_from_acid

# Relative permittivity of water, Malmberg and Maryott 1956 (values from memory, to the second decimal).
PERMITTIVITY = {0.0: 87.74, 25.0: 78.30, 100.0: 55.72}


@pytest.mark.parametrize("temp_c", PERMITTIVITY)
def test_the_debye_slope_is_that_of_the_permittivity(temp_c):
    slope = 1.8248e6 / (PERMITTIVITY[temp_c] * (temp_c + 273.15)) ** 1.5
    assert constants(temp_c).debye == pytest.approx(slope, rel=5e-4)


@pytest.mark.parametrize("temp_c", [-0.1, 100.1])
def test_temperatures_beyond_the_fit_are_turned_away(temp_c):
    with pytest.raises(ValueError, match="outside 0-100"):
        constants(temp_c)


def test_acid_and_lye_without_carbonate_by_hand():
    """A millimole of acid: pH is 3 plus what the activity takes off; of lye: pKw less the same."""
    gamma = float(log_gamma(1e-3))
    assert float(ph_from_acid(1e-3)) == pytest.approx(3.0 - gamma, abs=1e-4)
    assert float(ph_from_acid(-1e-3)) == pytest.approx(-constants().kw - 3.0 + gamma, abs=1e-4)


def test_davies_by_hand():
    """I = 0.01, root 0.1: 0.1 / 1.1 - 0.003 = 0.08791; a charge of two counts four times."""
    slope = constants().debye
    assert math.isclose(float(log_gamma(0.01)), -slope * 0.0879091, rel_tol=1e-5)
    assert math.isclose(float(log_gamma(0.01, 2)), -4 * slope * 0.0879091, rel_tol=1e-5)


@pytest.mark.parametrize("ph", [4.5, 6.0, 7.5])
def test_carbonate_told_from_ph_gives_that_ph_back_in_salt_water(ph):
    carbon = carbon_at(ph, 1e-4, salt=0.1)
    assert float(ph_from_acid(-1e-4, total_carbon=carbon, salt=0.1)) == pytest.approx(ph, abs=1e-4)


def test_rinse_water_counts_by_its_share():
    """None of it in the first liquid, half of its alkalinity and of its carbonate in a half and half."""
    tap = RinseWater("tap", alkalinity=2e-3, total_carbon=2.2e-3, salt=0.0)
    assert float(liquid_ph(1e-3, 1.0, tap)) == pytest.approx(float(ph_from_acid(1e-3)), abs=1e-6)
    half = ph_from_acid(3e-3 - 1e-3, total_carbon=1.1e-3)
    assert float(liquid_ph(3e-3, 0.5, tap)) == pytest.approx(float(half), abs=1e-6)
