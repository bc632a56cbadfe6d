"""The reduction by zinc or iron planned, and reagents as they are bought: handbook values and sums by hand."""

import json

import pytest

from service.bench.chemistry.metal import metal_dose, reduction_kj_mol
from service.bench.chemistry.reagents import chloride, molar_mass
from service.bench.lye_plan import lye_plan
from service.bench.metal_plan import metal_plan
from service.bench.vessel.neutralisers import acids, neutralisers
from service.cli import main
from stripread.errors import CallError

AGCL = 107.8682 + 35.45  # CIAAW, as tests/data/constants.csv has them


def test_atomic_weights():
    # CIAAW: zinc 65.38(2), http://pac.iupac.org/publications/pac/81/11/2131/ ; iron 55.845(2),
    # http://old.iupac.org/reports/1996/6812coplen/atwt1995_t2.html
    assert molar_mass("Zn") == pytest.approx(65.38, abs=0.02)
    assert molar_mass("Fe") == pytest.approx(55.845, abs=0.002)


@pytest.mark.parametrize(("metal", "weight"), [("zinc", 65.38), ("iron", 55.845)])
def test_the_metal_for_a_hundred_grams_by_hand(metal, weight):
    dose = metal_dose(chloride(100.0), metal, excess=1.3, purity=0.98)
    need = 100.0 / AGCL / 2.0 * weight  # 2 AgCl + M -> 2 Ag + MCl2
    assert dose.need_g == pytest.approx((need,) * 3, rel=1e-3)
    assert dose.metal_g == pytest.approx((need * 1.3 / 0.98,) * 3, rel=1e-3)
    # The excess in acid: M + 2 H+ -> H2; RT/p at 25 °C and 101.325 kPa is 24.47 L/mol. All of it if the acid is faster.
    each = 8.314462 * 298.15 / 101.325
    mol = 100.0 / AGCL / 2.0
    assert dose.hydrogen_l == pytest.approx((0.3 * mol * each, 0.3 * mol * each, 1.3 * mol * each), rel=1e-3)
    # 4 parts of hydrogen in a hundred burn (from memory): 24 parts of air and more for one of hydrogen.
    assert dose.hydrogen_l[2] / (dose.hydrogen_l[2] + dose.air_l) < 0.04
    assert dose.acid_mol[1] == pytest.approx(0.4, rel=1e-6)  # 1 mol/L in the 0.4 L that a fifth of solids takes
    rich = metal_dose(chloride(100.0), metal, excess=2.0)
    assert rich.acid_mol[1] == pytest.approx(2.0 * mol + 0.2 * 0.4, rel=1e-3)  # two H+ a metal left, and some to spare


def test_the_published_zinc_of_a_mint_lies_between_the_need_and_the_dose():
    # 33 lb of commercial zinc for 100 lb of silver: https://911metallurgist.com/blog/silver-chloride-reduction
    dose = metal_dose(chloride(100.0), "zinc")
    silver = 100.0 * 107.8682 / AGCL
    assert dose.need_g[1] / silver < 0.33 < dose.metal_g[1] / silver
    assert dose.need_g[1] / silver == pytest.approx(0.303, abs=0.001)


def test_heat_of_the_reduction():
    # CODATA key values: AgCl -127.01 (http://codata.info/resources/databases/key1.html); Zn2+ -153.39, Cl- -167.08 and
    # the NBS tables' Fe2+ -89.1 kJ/mol from memory.
    assert reduction_kj_mol("zinc") == pytest.approx(153.39 + 2 * 167.08 - 2 * 127.01)
    assert reduction_kj_mol("iron") == pytest.approx(89.1 + 2 * 167.08 - 2 * 127.01)
    dose = metal_dose(chloride(100.0), "zinc")
    mol = 100.0 / AGCL / 2.0
    mass = 400.0 + 100.0 + 1.3 * mol * 65.38
    assert dose.rise_k[0] == pytest.approx(mol * 233.53 / (mass * 4.18e-3), rel=1e-3)
    assert dose.rise_k[1] == pytest.approx(mol * (233.53 + 0.3 * 153.39) / (mass * 4.18e-3), rel=1e-3)
    assert dose.portions == 6  # 43 K, 8 K each


@pytest.mark.parametrize(("wrong", "says"), [({"excess": 0.9}, "1 or more"), ({"purity": 0.0}, "between 0 and 1")])
def test_what_can_not_be_is_refused(wrong, says):
    with pytest.raises(ValueError, match=says):
        metal_dose(chloride(100.0), "zinc", **wrong)


def test_acid_out_of_the_bottle():
    # By hand: 0.4 mol of HCl, 36.46 g/mol, 31 % by mass at 1.16 g/mL.
    answer = metal_plan(100.0, (0.0, 0.0), bottle="31 %, 1.16 g/ml")
    assert answer.bought[0].amount[1] == pytest.approx(0.4 * 36.458 / 0.31 / 1.16, rel=1e-3)
    # Two hydrogen ions of a sulfuric acid, 98.07 g/mol.
    answer = metal_plan(100.0, (0.0, 0.0), acid="sulfuric", bottle="37 %, 1.28 g/ml")
    assert answer.bought[0].amount[1] == pytest.approx(0.2 * 98.07 / 0.37 / 1.28, rel=1e-3)
    assert any("boils as it meets water" in text for text in answer.cautions)
    assert len(metal_plan(100.0, (0.0, 0.0)).bought) == 3  # as it is sold


# Handbook densities at 20 °C, g/mL by percent of mass; from memory.
@pytest.mark.parametrize(
    ("acid", "handbook"),
    [
        ("hydrochloric", {10: 1.048, 20: 1.098, 37: 1.184}),
        ("sulfuric", {10: 1.066, 38: 1.286, 50: 1.395, 70: 1.611, 96: 1.836}),
    ],
)
def test_densities_of_the_handbook_are_taken_and_others_asked_back(acid, handbook):
    for percent, density in handbook.items():
        metal_plan(10.0, (0.0, 0.0), acid=acid, bottle=f"{percent} %, {density} g/ml")
        with pytest.raises(CallError, match="check both on the label"):
            metal_plan(10.0, (0.0, 0.0), acid=acid, bottle=f"{percent} %, {density + 0.12:.2f} g/ml")
    with pytest.raises(CallError, match="read the label again"):
        metal_plan(10.0, (0.0, 0.0), acid=acid, bottle="20 mol/l")


def test_no_stock_vessel_is_neutralised_with_sulfuric_acid():
    assert "sulfuric acid" in acids()
    assert "sulfuric acid" not in neutralisers()


def test_sugars_as_they_are_bought():
    plain = lye_plan(100.0, (0.0, 0.0))
    watery = lye_plan(100.0, (0.0, 0.0), sugar="glucose monohydrate")
    assert watery.dose.sugar_g[1] / plain.dose.sugar_g[1] == pytest.approx(198.17 / 180.16, rel=1e-4)
    # A molecule of sucrose, 342.30, gives two that reduce, once it is inverted.
    inverted = lye_plan(100.0, (0.0, 0.0), sugar="inverted table sugar")
    assert inverted.dose.sugar_g[1] / plain.dose.sugar_g[1] == pytest.approx(342.30 / 2 / 180.16, rel=1e-4)
    # By hand: 0.6977 mol of silver, half of it in reducing sugar, two of a molecule, a fifth more: 0.2093 mol, 71.65 g.
    # C12H22O11 + H2O = 2 C6H12O6: 18.015 g of water go to 342.30 g, 360.31 g come of it; here 3.77 g and 75.42 g.
    assert inverted.dose.sugar_g[1] == pytest.approx(71.65, abs=0.02)
    words = " ".join(text for _, text in inverted.said)
    assert "takes up 3.77 g of water and is 75.4 g of glucose and fructose" in words
    assert inverted.dose.sugar_g[1] * 360.31 / 342.30 == pytest.approx(plain.dose.sugar_g[1], rel=1e-3)
    assert "syrup sticks" in " ".join(inverted.cautions)
    assert "syrup" not in " ".join(plain.cautions)
    # Syrup of invert sugar as it is bought counts as glucose of its share of sugar: 75.4 g are in 107.7 g of 70 %.
    assert lye_plan(100.0, (0.0, 0.0), sugar_purity=0.7).dose.sugar_g[1] == pytest.approx(107.7, abs=0.1)
    with pytest.raises(CallError, match=r"no end that reduces.*glucose.*invert it first.*citric acid"):
        lye_plan(100.0, sugar="table sugar")


def test_lye_out_of_the_bottle():
    plain = lye_plan(100.0, (0.0, 0.0))
    own = lye_plan(100.0, (0.0, 0.0), lye="30 %, 1.33 g/ml")
    assert own.dose == plain.dose
    assert own.bought[0].unit == "mL"
    assert own.bought[0].amount[1] == pytest.approx(plain.dose.lye_g[1] * 0.97 / 0.30 / 1.33)
    with pytest.raises(CallError, match="check both"):
        lye_plan(100.0, lye="30 %, 1.10 g/ml")


def _run(capsys, *args):
    with pytest.raises(SystemExit) as left:
        main(["plan", *args])
    return left.value.code, capsys.readouterr()


def test_the_command_and_what_it_asks_back(capsys):
    code, told = _run(capsys, "metal", "--chloride", "100 g", "--moisture", "dry", "--metal", "iron", "--json")
    found = json.loads(told.out)
    assert code == 0
    assert found["dose"]["metal_g"] == pytest.approx([25.58, 25.71, 25.84], abs=0.02)
    assert found["procedure"] == "chloride_iron"
    code, told = _run(capsys, "metal", "--chloride", "100 g", "--metal", "zinc")
    assert code == 0
    assert all(word in told.out for word in ("Hydrogen", "no flame", "never closed", "How wet", "Local law"))
    code, told = _run(capsys, "metal", "--chloride", "1,000 g")
    assert (code, "two ways" in told.err) == (2, True)
    code, told = _run(capsys, "lye", "--chloride", "100 g", "--sugar", "table sugar")
    assert (code, "invert it first" in told.err) == (2, True)
