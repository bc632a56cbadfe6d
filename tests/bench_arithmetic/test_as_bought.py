"""Reagents as they are bought: percent and density, hydrates, impure sugar and lye, acid thinned from its bottle."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from service.bench.dosing.acid import acid_plan, checked_rinse_mol, mol_of, rinse_mol
from service.bench.lye_plan import lye_plan
from service.bench.notes import AcidRinse, checked
from service.cli import app
from stripread.errors import CallError


def test_hydrochloric_acid_by_percent_and_density():
    # 31 % at 1.15 g/mL: 356.5 g of HCl a litre, / 36.46 = 9.78 mol/L (by hand). 2 L of 0.1 mol/L: 20.45 mL.
    found = acid_plan(2.0, 0.1, "31 %, 1.15 g/ml")
    assert found.mol == pytest.approx(0.2)
    assert [b.unit for b in found.bought] == ["mL"]
    assert found.bought[0].amount[1] == pytest.approx(20.45, abs=0.02)
    assert found.chalk_g == pytest.approx(10.0, abs=0.01)  # CaCO3 + 2 HCl: 100.09 g to 2 mol
    assert mol_of(20.45, "31 %, 1.15 g/ml") == pytest.approx(0.2, abs=0.001)
    assert mol_of(100.0, "2 mol/l") == pytest.approx(0.2)
    assert mol_of(20.45, "31 %") == pytest.approx(0.2, abs=0.003)  # the density of its percentage
    assert len(acid_plan(2.0, 0.1).bought) > 1  # as it is sold


@pytest.mark.parametrize(
    ("args", "words"),
    [
        ((2.0, 5.0), "up to 2 mol/L"),
        ((2.0, 1.0, "0.5 mol/l"), "weaker than"),
        ((2.0, 0.1, "60 %, 1.3 g/ml"), "at most about 40 %"),
        ((2.0, 0.1, "31 %, 1.5 g/ml"), "check both on the label"),
    ],
)
def test_acid_that_cannot_be_is_asked_back(args, words):
    with pytest.raises(CallError, match=words):
        acid_plan(*args)


def test_a_rinse_says_its_acid_by_the_bottle():
    made = checked("acid_rinse", {"acid_ml": "20.45 ml", "bottle": "31 %, 1.15 g/ml", "oxide_silver_g": 0.0})
    assert isinstance(made, AcidRinse)
    assert rinse_mol(made) == pytest.approx(0.2, abs=0.001)
    assert rinse_mol(checked("acid_rinse", {"acid_mol": 0.1, "oxide_silver_g": 0.0})) == 0.1
    for wrong in ({}, {"acid_ml": 20.0}, {"bottle": "31 %"}):
        with pytest.raises(CallError, match="acid_mol, or acid_ml and bottle"):
            checked("acid_rinse", {**wrong, "oxide_silver_g": 0.0})
    for bottle in ("strong", "90 %"):
        bad = checked("acid_rinse", {"acid_ml": 20.0, "bottle": bottle, "oxide_silver_g": 0.0})
        with pytest.raises(CallError):
            checked_rinse_mol(bad)
        assert rinse_mol(bad) == 0.0  # what a log has is worked with all the same


def test_impure_sugar_takes_more_of_it():
    pure, impure = (lye_plan(100.0, (0.0, 0.0), sugar_purity=share) for share in (1.0, 0.8))
    assert impure.dose.sugar_g[1] == pytest.approx(pure.dose.sugar_g[1] / 0.8)
    assert any("80 % pure" in what for what, _how in impure.said)
    with pytest.raises(ValueError, match="purity"):
        lye_plan(100.0, (0.0, 0.0), sugar_purity=0.0)


def test_liquid_lye_brings_its_water_along():
    # 62.8 g of NaOH in lye of 30 %, 1.33 g/mL: 209 g of it, 157 mL, 147 g of them water.
    assert any("0.15 L of water" in how for _w, how in lye_plan(100.0, (0.0, 0.0), lye="30 %, 1.33 g/ml").said)
    assert not any("of water along" in how for _w, how in lye_plan(100.0, (0.0, 0.0), lye="90 %").said)
    assert any(
        "it brings 0.78 L" in how or "it brings 0.79 L" in how
        for _w, how in lye_plan(100.0, (0.0, 0.0), lye="2 mol/l").said
    )


def test_command_and_service_say_the_same(tmp_path):
    from fastapi.testclient import TestClient

    from service.web.app import create_app
    from tests.server.conftest import settings_in

    run = CliRunner().invoke
    acid = json.loads(run(app, ["plan", "acid", "--litres", "2", "--bottle", "31 %, 1.15 g/ml", "--json"]).output)
    lye = json.loads(
        run(app, ["plan", "lye", "--chloride", "100", "--moisture", "dry", "--sugar-purity", "91", "--json"]).output
    )
    with TestClient(create_app(settings_in(tmp_path))) as client:
        got = client.get("/api/plan/acid", params={"litres": "2000 ml", "bottle": "31 %, 1.15 g/ml"}).json()
        assert got["bought"] == acid["bought"]
        asked = {"chloride_g": "100", "moisture_low": "0", "moisture_high": "0.01", "sugar_purity": "91"}
        batch = client.post("/api/batches", json={"name": "x"}).json()["id"]
        rinse = {"acid_ml": "20 ml", "bottle": "90 %", "oxide_silver_g": 0}
        refused = client.post(f"/api/batches/{batch}/notes", json={"kind": "acid_rinse", "data": rinse})
        assert refused.status_code == 422
        assert "at most about 40 %" in refused.json()["detail"]
        taken = {"kind": "acid_rinse", "data": {**rinse, "bottle": "31 %, 1.15 g/ml"}}
        assert client.post(f"/api/batches/{batch}/notes", json=taken).status_code == 201
        assert client.get("/api/plan/lye", params=asked).json()["dose"]["sugar_g"] == lye["dose"]["sugar_g"]
