"""Silver back from the stock vessel: amounts by hand and against handbook values, cautions, what is left."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from click.testing import CliRunner
from fastapi.testclient import TestClient

from service.bench.notes import Note, checked
from service.bench.silver_back.dose import EXCESS, OVER, silver_dose, silver_over_metal_mol_l
from service.bench.silver_back.plan import silver_plan
from service.bench.vessel.running import Held, go_on, held_from
from service.cli import app
from service.web.app import create_app
from stripread.errors import CallError
from tests.server.conftest import settings_in

AG, CL, NA, H = 107.8682, 35.45, 22.98976928, 1.008  # CIAAW, as tests/data/constants.csv has them
CU, ZN, FE = 63.546, 65.38, 55.845


def note(kind, number, **fields):
    return Note(checked(kind, fields), f"2026-03-01T{number:02d}:00:00.000000+00:00", number)


def test_salt_by_hand():
    # 10 L with 100 mg/L: 1 g of silver, 9.27 mmol; as much salt, and 10 mmol/L of it over.
    dose = silver_dose(10.0, (100.0, 100.0), "salt")
    assert dose.silver_g == pytest.approx((1.0,) * 3)
    assert dose.reagent_g == pytest.approx(((1.0 / AG + OVER * 10.0) * (NA + CL),) * 3, rel=1e-4)
    assert dose.solid_g == pytest.approx((1.0 / AG * (AG + CL),) * 3, rel=1e-4)
    assert dose.most_g == pytest.approx((1.0 / AG + 0.5) * (NA + CL), rel=1e-4)
    acid = silver_dose(10.0, (100.0, 100.0), "acid")
    assert acid.reagent_g[1] == pytest.approx((1.0 / AG + OVER * 10.0) * (H + CL), rel=1e-4)
    # Chloride that is in it already counts; nothing below 0.
    assert silver_dose(10.0, (100.0, 100.0), "salt", chloride=0.5).reagent_g == (0.0, 0.0, 0.0)
    spread = silver_dose(10.0, (50.0, 200.0), "salt")
    assert spread.reagent_g[0] < spread.reagent_g[1] < spread.reagent_g[2]


@pytest.mark.parametrize(("metal", "weight"), [("copper", CU), ("zinc", ZN), ("iron", FE)])
def test_cementation_by_hand(metal, weight):
    # 2 Ag+ + M -> 2 Ag + M2+: 0.2946 g of copper, 0.3031 of zinc, 0.2589 of iron a gram of silver.
    dose = silver_dose(10.0, (100.0, 100.0), metal)
    need = weight / (2.0 * AG)
    assert dose.reagent_g == pytest.approx((need * EXCESS[metal],) * 3, rel=1e-3)
    assert dose.metal_mg_l == pytest.approx((100.0 * need,) * 3, rel=1e-3)
    assert need == pytest.approx({"copper": 0.2946, "zinc": 0.3031, "iron": 0.2589}[metal], abs=1e-4)
    assert dose.solid_g == pytest.approx((1.0,) * 3)


def test_what_copper_leaves_at_equilibrium_is_nothing_to_speak_of():
    # E 0.7996 - 0.3419 V (handbook, from memory): log K = 2 * 0.4577 / 0.05916 = 15.47; over 1 mmol/L of copper ions
    # sqrt(1e-3 / 10^15.47) = 5.8e-10 mol/L, 0.06 µg/L. In practice more is left: what a drop of salt water can't show.
    assert silver_over_metal_mol_l("copper", 1e-3) == pytest.approx(5.8e-10, rel=0.02)
    for metal in ("zinc", "iron"):
        assert silver_over_metal_mol_l(metal, 1e-3) < 1e-15


def test_what_chloride_leaves_lies_with_published_databases():
    # tests/data/silver_solubility.csv: PHREEQC on four databases, silver over its chloride in hydrochloric acid, 25 °C.
    rows = csv.DictReader(Path("tests/data/silver_solubility.csv").read_text(encoding="utf-8").splitlines())
    table = [
        float(row["dissolved_ag_mg_per_kgw"])
        for row in rows
        if row["case"] == "chloride" and row["medium"] == "HCl" and float(row["conc_mol_per_kgw"]) == OVER
    ]
    low, value, high = silver_dose(10.0, (100.0, 100.0), "acid").left_mg_l
    assert len(table) >= 3
    assert low <= min(table)
    assert max(table) <= high
    assert min(table) * 0.9 <= value <= max(table) * 1.1
    # By the solubility product alone, 10^-9.75 (NIST 46), at 0.01 mol/L, activities of 0.9: some 2 µg/L; the rest is
    # AgCl(aq) of 10^(-9.75 + 3.31) mol/L, 39 µg/L, and AgCl2-: so it can't be less than that.
    assert low > 0.039 * 0.9
    assert silver_dose(10.0, (100.0, 100.0), "acid").left_mg[1] == pytest.approx(10.0 * value)


def test_the_plan_tells_why_not_more_and_how_to_see_the_end():
    plan = silver_plan(8.0, (50.0, 200.0), "salt")
    said = " ".join((*plan.notes, *plan.finished, *(how for _what, how in plan.said)))
    for words in ("chloro complexes", "drop of salt water stays clear", "silver_down", "mg in all", "not more than"):
        assert words in said
    assert any("drain" in text for text in plan.cautions)
    dilute = silver_plan(8.0, (5.0, 20.0), "acid", chloride=1.0)
    assert "dilute it some 10 times" in " ".join(dilute.notes)
    assert "none: enough chloride" in " ".join(how for _what, how in dilute.said)
    copper = silver_plan(8.0, (50.0, 200.0), "copper")
    assert "copper reading (tint) rises by" in " ".join(copper.finished)
    assert any("turns explosive" in text for text in copper.cautions)
    assert any("hydrogen" in text for text in silver_plan(8.0, (50.0, 200.0), "iron").cautions)


def test_ammonia_goes_first_and_its_cautions_stand_on_top():
    for way in ("salt", "copper", "zinc", "iron"):
        plan = silver_plan(8.0, (50.0, 200.0), way, ammonia=True)
        assert plan.dose is None
        assert "First make it acid" in plan.first[0]
        assert any("explode" in text for text in plan.cautions)
    acid = silver_plan(8.0, (50.0, 200.0), "acid", ammonia=True)
    assert acid.dose is not None
    assert any("pH 2" in text for text in acid.first)
    assert acid.dose.left_mg_l[2] > 1.0  # ammonia holds more than chloride alone: some mg/L at pH 2
    with pytest.raises(CallError, match="chlorine"):
        silver_plan(8.0, (50.0, 200.0), "acid", contains=("bleach",))
    with pytest.raises(CallError, match="brown fumes"):
        silver_plan(8.0, (50.0, 200.0), "zinc", contains=("nitrate",))
    with pytest.raises(CallError, match="florbium"):
        silver_plan(8.0, (50.0, 200.0), "salt", contains=("florbium",))
    with pytest.raises(ValueError, match="above 0"):
        silver_plan(8.0, (0.0, 0.0), "salt")


def test_the_same_plan_by_command_and_over_http(tmp_path):
    said = CliRunner().invoke(app, ["plan", "silver", "--litres", "8 l", "--silver", "50-200", "--json"])
    assert said.exit_code == 0, said.output
    with TestClient(create_app(settings_in(tmp_path))) as client:
        found = client.get("/api/plan/silver", params={"litres": "8", "silver_mg_l": "50-200"}).json()
        assert found["dose"] == json.loads(said.output)["dose"]
        assert client.get("/api/plan/silver", params={"litres": "8", "silver_mg_l": "much"}).status_code == 422
        assert client.get("/api/plan/silver", params={"litres": "8", "silver_mg_l": "5", "by": "x"}).status_code == 422
    lines = CliRunner().invoke(app, ["plan", "silver", "--litres", "8", "--silver", "50-200", "--ammonia"]).output
    assert lines.startswith("! Ammonia is in it")


def test_brought_down_counts_only_with_a_clear_drop_and_until_more_silver_comes():
    washes = {"what": "washes", "litres": 5.0, "ph": 1.5, "metals": ["silver"], "contents": ["salt"]}
    down = {"by": "copper", "drop": "clear", "left": [0, 3]}
    held = go_on(Held(), [(1, note("poured", 1, **washes))])
    assert held.holds_silver
    assert not go_on(held, [(1, note("silver_down", 2, **{**down, "drop": "not tried"}))]).down
    done = go_on(held, [(1, note("silver_down", 2, **down))])
    assert (done.down, done.holds_silver, done.left_mg_l) == (2, False, (0.0, 3.0))
    assert held_from(json.loads(json.dumps(done.to_json()))) == done  # as the log keeps it
    assert "down" not in held.to_json()  # sums of older logs stay as they are
    assert go_on(done, [(2, note("poured", 3, **washes))]).holds_silver
    assert not go_on(done, [(2, note("poured", 3, what="water", litres=1.0, ph=7.0))]).holds_silver
    assert not go_on(done, [(2, note("emptied", 4, what="x"))]).down
