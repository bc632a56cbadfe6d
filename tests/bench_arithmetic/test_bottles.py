"""One's own bottle of a neutraliser: amounts by hand from its label, and labels that can't be."""

from __future__ import annotations

import json

import pytest
from fastapi.testclient import TestClient

from service.bench.vessel.bottles import bottle_of_text
from service.bench.vessel.contents import Poured
from service.bench.vessel.neutralisers import neutralisers
from service.bench.vessel.waste_plan import waste_plan
from service.cli import main
from service.web.app import create_app
from stripread.errors import CallError
from tests.server.conftest import settings_in

# 0.5 mol of acid or lye; molar masses from IUPAC's atomic weights: NaOH 39.997, HCl 36.458 g/mol.
ACID, LYE = Poured("acid", 5.0, mol=0.5), Poured("lye", 5.0, mol=-0.5)


@pytest.mark.parametrize(
    ("held", "label", "unit", "amount"),
    [
        (ACID, "soda lye: 10 %, 1.11 g/ml", "mL", 0.5 * 39.997 / 0.10 / 1.11),
        (ACID, "NaOH: 2 mol/L", "mL", 250.0),
        (ACID, "caustic soda: 97 %", "g", 0.5 * 39.997 / 0.97),
        (LYE, "muriatic acid: 20 %, 1,10 g/ml", "mL", 0.5 * 36.458 / 0.20 / 1.10),
        (LYE, "spirits of salt: 20 % by mass; 1.10", "mL", 0.5 * 36.458 / 0.20 / 1.10),
        (LYE, "HCl: 2,5 M", "mL", 200.0),
        (LYE, "hydrochloric acid: 20 %", "g", 0.5 * 36.458 / 0.20),  # without its density it is weighed
    ],
)
def test_the_amount_is_of_what_is_in_the_bottle(held, label, unit, amount):
    way = waste_plan([held], [bottle_of_text(label)]).ways[0]  # one's own first
    [bought] = way.as_bought
    assert (bought.unit, bought.amount[1]) == (unit, pytest.approx(amount, rel=1e-3))
    assert "your " in way.sentence
    assert waste_plan([held]).ways[0].as_bought[0].form.startswith("your ") is False


@pytest.mark.parametrize(
    ("label", "says"),
    [
        ("HCl: 20 %, 1.84 g/ml", "weighs about 1.10 g/mL"),  # that density is another acid's
        ("HCl: 50 %", "at most about 40 %"),
        ("HCl: 20 mol/l", "at most about 13 mol/L"),
        ("soda lye: 70 %, 1.75 g/ml", "at most about 55 %"),
        ("HCl: 1 kg %", "without a unit"),
        ("HCl: nan %", "must be a number"),
        ("HCl: 0 mol/l", "above 0"),
        ("HCl: 120 %", "must lie between"),
        ("HCl: 2", "give NAME"),
        ("HCl 2 mol/l", "give NAME"),
        ("vinegar: 5 %", "no neutraliser is called 'vinegar'"),
    ],
)
def test_a_label_that_can_not_be_is_asked_back(label, says):
    with pytest.raises(CallError, match=says):
        bottle_of_text(label)


@pytest.mark.parametrize("name", list(neutralisers()))
def test_the_forms_that_are_sold_pass_as_labels(name):
    for form in neutralisers()[name].forms:
        density = "" if form.density is None else f", {form.density} g/ml"
        assert bottle_of_text(f"{name}: {form.percent:g} %{density}").neutraliser == name


def test_silver_with_ammonia_gets_the_acid_of_the_own_bottle():
    held = Poured("x", 5.0, 8.0, (7.6, 8.4), metals=("silver",), ammonia=True)
    plan = waste_plan([held], [bottle_of_text("HCl: 1 mol/l")])
    assert plan.ways == ()
    assert any("mL of your muriatic acid 1 mol/L" in text for text in plan.stock.first)


def test_command_and_http_alike(capsys, tmp_path):
    label = "muriatic acid: 20 %, 1.10 g/ml"
    with pytest.raises(SystemExit) as stop:
        main(["plan", "waste", "--poured", "5:12", "--bottle", label, "--json"])
    found = json.loads(capsys.readouterr().out)
    assert stop.value.code == 0
    with TestClient(create_app(settings_in(tmp_path))) as client:
        answer = client.get("/api/plan/waste", params={"poured": "5:12", "bottle": label})
        assert answer.json()["ways"] == found["ways"]
        wrong = client.get("/api/plan/waste", params={"poured": "5:12", "bottle": "HCl: 50 %"})
        assert (wrong.status_code, wrong.json()["code"]) == (422, "bad_quantity")
    with pytest.raises(SystemExit) as stop:
        main(["plan", "waste", "--poured", "5:12", "--bottle", "HCl: 50 %"])
    assert (stop.value.code, capsys.readouterr().err.count("\n")) == (2, 1)
