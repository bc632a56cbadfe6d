"""Each reagent in each form that it is sold in has a worked example: no form is in the data without one here."""

import pytest

from service.bench.chemistry.reagents import molar_mass
from service.bench.melting.fineness import AIR
from service.bench.vessel.neutralisers import acids, as_bought, neutralisers

# Atomic weights by CIAAW: H 1.008, C 12.011, N 14.007, O 15.999, Na 22.990, S 32.06, Cl 35.45, Ca 40.078.
# formula: g/mol by hand, and the hydrogen ions that a mole gives or takes
BY_HAND = {
    "NaOH": (39.997, 1),
    "Ca(OH)2": (74.092, 2),
    "Na2CO3": (105.988, 2),  # where the gas leaves
    "NaHCO3": (84.006, 1),
    "HCl": (36.458, 1),
    "C6H8O7": (192.123, 3),
    "H2SO4": (98.072, 2),
}
# form: what one mole of acid or lye takes of it, g, or mL where the bottle has a density; and for liquids the mol of
# the formula in a litre as handbooks list it at that density (concentrative properties of aqueous solutions, 20 °C:
# handbook of chemistry and physics, from memory).
FORMS = {
    "lye beads or flakes, 97 %": (41.23, None),
    "soda lye 30 %": (100.2, 9.96),
    "soda lye 10 %": (360.3, 2.77),
    "slaked lime, 95 %": (39.00, None),
    "soda ash, dry": (53.53, None),
    "washing soda crystals (decahydrate)": (143.2, None),
    "baking soda": (84.01, None),
    "muriatic acid 31 %": (99.77, 10.0),
    "hydrochloric acid 37 %": (83.50, 12.0),
    "hydrochloric acid 10 %": (347.2, 2.87),
    "citric acid, dry": (64.04, None),
    "citric acid monohydrate": (70.06, None),
    "sulfuric acid 10 %": (458.3, 1.09),
    "battery acid 37 %": (103.5, 4.82),
    "sulfuric acid 96 %": (27.76, 18.0),
}
SOLD = [(one, form) for one in (*neutralisers().values(), *(acids()[n] for n in acids() if n not in neutralisers()))
        for form in one.forms]  # fmt: skip


def test_every_form_is_worked_here():
    assert {form.name for _one, form in SOLD} == set(FORMS)
    assert {one.formula for one, _form in SOLD} == set(BY_HAND)


@pytest.mark.parametrize(("one", "form"), SOLD, ids=[form.name for _one, form in SOLD])
def test_a_mole_of_acid_or_lye_out_of_each_form(one, form):
    grams, ions = BY_HAND[one.formula]
    assert molar_mass(one.formula) == pytest.approx(grams, abs=0.01)
    assert one.takes == ions
    amount, listed = FORMS[form.name]
    bought = as_bought((grams / ions,) * 3, form)
    assert bought.amount[1] == pytest.approx(amount, rel=2e-3)
    assert bought.unit == ("g" if listed is None else "mL")
    if listed is not None:
        assert 1000.0 / bought.amount[1] / ions == pytest.approx(listed, rel=0.015)


def test_hydrates_by_their_formulas():
    """The share of the dry substance: soda 105.99 / 286.14, acid 192.12 / 210.14, sugar 180.16 / 198.17 g/mol."""
    by = {form.name: form.percent for _one, form in SOLD}
    assert by["washing soda crystals (decahydrate)"] == pytest.approx(100 * 105.99 / 286.14, abs=0.1)
    assert by["citric acid monohydrate"] == pytest.approx(100 * 192.12 / 210.14, abs=0.1)
    assert molar_mass("C6H12O6") / molar_mass("C6H12O6(H2O)") == pytest.approx(180.156 / 198.171, rel=1e-4)


def test_air_by_the_gas_law():
    """28.96 g/mol at 20 °C and 101.325 kPa: 1.204 kg/m³ (standard atmosphere's molar mass, ISO 2533, from memory)."""
    assert pytest.approx(28.96e-3 * 101325 / (8.314462618 * 293.15) / 1000.0, rel=0.01) == AIR
