"""Cautions stand at the step where they apply, and no heat beyond boiling is told."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from service.bench.procedure import load_procedure
from service.cli import app


def _plan(*args):
    return CliRunner().invoke(app, ["plan", *args]).output


@pytest.mark.parametrize(
    ("stage", "words"),
    [
        ("acid-wash", "bleach where ammonia"),
        ("acid-wash", "never go into a lye vessel"),
        ("acid-wash", "hydrogen"),
        ("acid-wash", "Brown fumes"),
        ("lye-sugar", "stiff slurry"),
        ("lye-sugar", "dry sugar"),
        ("lye-sugar", "hydrogen"),
        ("lye-wash", "No acid on lye"),
        ("melt", "spits as it freezes"),
    ],
)
def test_a_caution_at_its_step(stage, words):
    assert any(words in text for text in load_procedure("chloride_lye_sugar").stage(stage).cautions)


@pytest.mark.parametrize(("temp", "boils"), [("40", False), ("60", True), ("80", True), ("95", True)])
def test_the_sugars_heat_never_goes_beyond_boiling(temp, boils):
    shown = _plan("lye", "--chloride", "100", "--moisture", "0", "--temp", temp)
    # By hand: 0.698 mol at 80 to 180 kJ/mol in some 640 g: 21 to 47 K.
    assert ("would boil it over" in shown) == boils
    assert "stiff slurry" in shown
    assert "hydrogen" in shown
    dose = json.loads(_plan("lye", "--chloride", "100", "--moisture", "0", "--temp", temp, "--json"))["dose"]
    assert dose["rise_sugar_k"][1] / dose["sugar_portions"] <= max(1.0, 0.5 * (100 - float(temp))) + 1e-9


def test_waste_says_what_not_to_mix():
    shown = _plan("waste", "--poured", "3:1.5")
    for words in ("never bleach with ammonia", "hydrogen", "Test vials never go into a lye vessel", "Local law"):
        assert words in shown
