"""Dosing without a dry weight: by volume, by portions, by the metal dissolved; worked by hand and simulated."""

from __future__ import annotations

import json

import numpy as np
import pytest
from click.testing import CliRunner

from service.bench.chemistry.density import SILVER_CHLORIDE, water_g_cm3
from service.bench.dosing.by_portions import Portion, by_portions
from service.bench.dosing.by_volume import AIR_ML, DILUTE, by_volume
from service.bench.dosing.plan import expected_plan, portion_of_text, volume_plan
from service.bench.notes import Note, checked
from service.bench.procedure import load_procedure
from service.bench.quantities import WrongQuantity
from service.bench.readings import Observation, logged
from service.bench.state import state_of
from service.bench.state_view import state_view
from service.cli import app


# Density of water, g/cm³, as any handbook's table has it (handbook of chemistry and physics, from memory).
@pytest.mark.parametrize(
    ("temp", "density"), [(0, 0.99984), (4, 0.99997), (15, 0.99910), (20, 0.99821), (25, 0.99705), (40, 0.99222)]
)
def test_water_by_its_temperature(temp, density):
    assert water_g_cm3(temp) == pytest.approx(density, abs=6e-6)


def test_hot_water_is_asked_to_cool():
    with pytest.raises(ValueError, match="let it cool"):
        water_g_cm3(60.0)


def test_a_hundred_grams_by_hand():
    # 100 g / 5.56 g/mL = 17.986 mL, which displace 17.953 g of water at 20 °C: 82.05 g more than with water alone.
    w = water_g_cm3(20.0)
    found = by_volume(600.0, 682.047, liquid=(w, w), dirt=(0.0, 0.0), scale_g=0.0, mark_ml=0.0)
    assert found.dry_g[1] == pytest.approx(100.0, abs=0.02)
    assert found.solid_ml == pytest.approx(17.986, abs=0.01)
    assert found.dry_g[0] == pytest.approx(100.0, abs=0.02)
    assert found.dry_g[2] == pytest.approx(100.0 + AIR_ML[1] * found.air_hides_g, abs=0.02)  # all else is certain
    assert found.air_hides_g == pytest.approx(1.217, abs=0.002)  # 0.99821 * 5.56 / (5.56 - 0.99821)


def test_the_range_holds_what_was_there():
    """Chloride, dirt, air, liquid, mark and scale drawn within what is said of them: the range has the truth."""
    rng, held = np.random.default_rng(3), 0
    water = water_g_cm3(20.0)
    for _trial in range(400):
        true, vessel = rng.uniform(20, 400), 600.0
        solid = true / SILVER_CHLORIDE
        dirt = solid * rng.uniform(0.0, 0.02)
        air, rho = rng.uniform(*AIR_ML), water + rng.uniform(0.0, DILUTE)
        full = vessel * water + 150.0 + rng.normal(0, 0.5) + rng.normal(0, 0.05)
        sludge = true + dirt * rng.uniform(1.5, 2.7) + (vessel - solid - dirt - air) * rho + 150.0
        sludge += rng.normal(0, 0.5) + rng.normal(0, 0.05)
        low, _value, high = by_volume(full, sludge, empty_g=150.0).dry_g
        held += low <= true <= high
    assert held >= 0.95 * 400


def test_a_liquid_that_is_no_water_needs_its_density():
    # 1 mol/L hydrochloric acid, 1.016 g/mL (from memory), over 17.986 mL of chloride in 600 mL.
    sludge = 150.0 + 100.0 + (600.0 - 17.986) * 1.016
    full = 150.0 + 600.0 * water_g_cm3(20.0)
    said = by_volume(full, sludge, empty_g=150.0, liquid=(1.015, 1.017), dirt=(0.0, 0.0)).dry_g
    assert said[0] < 100.0 < said[2]
    assert by_volume(full, sludge, empty_g=150.0, dirt=(0.0, 0.0)).dry_g[0] > 100.0  # taken for water: too much


@pytest.mark.parametrize(
    ("kwargs", "words"),
    [
        ({"sludge_g": 590.0}, "more than with water alone"),
        ({"empty_g": 700.0}, "weigh less than filled"),
        ({"liquid": (0.2, 1.0)}, "between 0.9 and 2"),
        ({"dirt": (0.5, 1.2)}, "share of dirt"),
    ],
)
def test_what_cannot_be_is_refused_in_one_sentence(kwargs, words):
    with pytest.raises(ValueError, match=words):
        by_volume(600.0, **{"sludge_g": 680.0, **kwargs})


def _portion(grams, pale, half=0.04):
    return Portion(grams, (max(0.0, pale - half), pale, min(1.0, pale + half)))


def test_a_fall_foretells_its_end_and_the_range_is_honest():
    rng, held = np.random.default_rng(5), 0
    for trial in range(200):
        need = rng.uniform(50, 150)
        made = [Portion(0.0, (0.9, 0.96, 1.0))]
        for n in range(1, 4):
            true = max(0.0, 0.96 - 0.95 * 20.0 * n / need)
            made.append(_portion(20.0, float(np.clip(true + rng.normal(0, 0.02), 0, 1))))
        found = by_portions(made)
        if found.status == "falling":
            low, _value, high = found.more_g
            held += low <= max(0.0, need - 60.0) <= high
        else:
            assert found.status == "done" or need < 65.0, (trial, need, found)
            held += 1
    assert held >= 0.85 * 200


def test_it_says_when_more_does_not_help():
    falling = [_portion(0.0, 0.95), _portion(20.0, 0.64), _portion(20.0, 0.35)]
    assert by_portions(falling).status == "falling"
    stopped = by_portions([*falling, _portion(20.0, 0.34)])
    assert stopped.status == "stopped"
    assert "crush clots" in stopped.sentence
    assert by_portions([*falling, _portion(20.0, 0.06)]).status == "falling"
    assert by_portions([*falling, Portion(20.0, (0.0, 0.003, 0.008))]).status == "done"


@pytest.mark.parametrize(
    ("portions", "words"),
    [
        ([Portion(20.0, None)], "No picture"),
        ([_portion(20.0, 0.5), Portion(20.0, None)], "no picture after it"),
        ([_portion(20.0, 0.5)], "One more portion"),
        ([_portion(0.0, 0.5, 0.3), _portion(20.0, 0.48, 0.3)], "can't be told"),
    ],
)
def test_what_pictures_do_not_tell_is_said(portions, words):
    found = by_portions(portions)
    assert (found.status, words in found.sentence) == ("cannot tell", True)


def test_by_the_metal_dissolved():
    # 100 g of 925: 92.5 g of silver, 122.9 g of chloride (143.32 / 107.87) if all of it came through.
    found = expected_plan(100.0, (0.925, 0.925), through=(1.0, 1.0), scale_g=0.0).chloride
    assert found.silver_g == pytest.approx((92.5, 92.5, 92.5))
    assert found.dry_g[1] == pytest.approx(122.9, abs=0.05)
    wide = expected_plan(100.0, (0.9, 0.93)).chloride.dry_g
    assert wide[0] < wide[1] < wide[2]
    with pytest.raises(ValueError, match="came through"):
        expected_plan(100.0, (0.9, 0.9), through=(0.5, 1.5))


def test_the_needs_go_with_the_range():
    plan = volume_plan(600.0, 682.05)
    lye = dict(plan.said)["Lye (97 % NaOH)"]
    assert "(" in lye
    assert any("zinc" in what.lower() for what, _how in volume_plan(600.0, 682.05, by="zinc").said)
    assert any("Hydrogen" in c or "hydrogen" in c for c in volume_plan(600.0, 682.05, by="iron").cautions)


def test_a_portion_as_it_is_typed():
    assert portion_of_text("20 g:35 %") == Portion(20.0, (0.35, 0.35, 0.35))
    assert portion_of_text("0:0.9-1").pale == (0.9, 0.95, 1.0)
    assert portion_of_text("1 oz av").grams == pytest.approx(28.35, abs=0.01)
    for wrong in ("20:35", "x:0.1", "20:"):
        with pytest.raises(WrongQuantity):
            portion_of_text(wrong)


def _run(*args):
    return CliRunner().invoke(app, ["plan", *args])


def test_command_and_service_say_the_same(tmp_path):
    from fastapi.testclient import TestClient

    from service.web.app import create_app
    from tests.server.conftest import settings_in

    pairs = [
        ("volume", ["--water", "600", "--sludge", "682 g", "--empty", "150", "--liquid", "1.00-1.01"],
         {"water_g": "600", "sludge_g": "682 g", "empty_g": "150", "liquid": "1.00-1.01"}),
        ("expected", ["--metal", "100", "--by", "iron"], {"metal_g": "100", "by": "iron"}),
        ("portions", ["--portion", "0:0.95", "--portion", "20:0.6-0.7"], {"portion": ["0:0.95", "20:0.6-0.7"]}),
    ]  # fmt: skip
    with TestClient(create_app(settings_in(tmp_path))) as client:
        for name, words, query in pairs:
            printed = json.loads(_run(name, *words, "--json").output)
            answered = client.get(f"/api/plan/{name}", params=query).json()
            assert answered["said"] == printed["said"]
            assert answered["chloride"] == printed["chloride"]
        assert client.get("/api/plan/volume", params={"water_g": "600", "sludge_g": "5"}).status_code == 422
        asked = client.get("/api/plan/volume", params={"water_g": "600 oz", "sludge_g": "682"})
        assert (asked.status_code, asked.json()["code"]) == (422, "which_quantity")
    wrong = _run("volume", "--water", "700", "--sludge", "600")
    assert wrong.exit_code != 0


def test_a_batch_tells_how_its_portions_stand():
    """Portions of sugar with pictures between them: the stage says what is left, in the log's own order."""

    def at(n):
        return f"2026-03-01T08:{n:02d}:00"

    def used(n, what, grams):
        return Note(checked("used", {"what": what, "grams": grams}), at(n), n)

    def seen(n, pale):
        data = {"kind": "solid", "pale_fraction": pale, "pale_interval": [max(0, pale - 0.04), pale + 0.04]}
        return Observation(at(n), logged(data), entry=n)

    start = Note(checked("procedure", {"text": load_procedure("chloride_lye_sugar").text}), at(0), 1)
    move = Note(checked("move", {"to": "lye-sugar", "state": "open", "sentence": "x"}), at(1), 2)
    lye = used(2, "lye (NaOH)", 60.0)
    notes = [start, move, lye, used(10, "Glucose", 20.0), used(20, "glucose", 20.0)]
    pictures = [seen(5, 0.9), seen(15, 0.6), seen(25, 0.31)]
    assert state_of(notes[:4], pictures[:2]).portions is None  # one portion: nothing is dosed to an end yet
    state = state_of(notes, pictures)
    found = state.portions
    assert (found.status, found.added_g) == ("falling", 40.0)  # the lye is another reagent
    assert found.more_g[0] < 20.7 < found.more_g[2]
    assert state_view(state).portions.sentence == found.sentence
    assert state_of([*notes, used(30, "glucose", 20.0)], pictures).portions.status == "cannot tell"
