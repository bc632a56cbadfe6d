"""Losses, lots and moistures in worked situations, through the public commands."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from click.testing import CliRunner

from service.bench.asking.weights import asked_of_weight
from service.bench.chemistry.balance import (
    Decant,
    Loss,
    add_by_cause,
    balance,
    chloride_by_ph,
    decant_loss,
    dissolved_mg_l,
)
from service.bench.weighings import Weighing, expected_of, moisture_of
from service.cli import app
from stripread.errors import CallError


def _plan(*args):
    return CliRunner().invoke(app, ["plan", *args])


def _yield(*args):
    shown = _plan("yield", *args, "--json")
    assert shown.exit_code == 0, shown.exception
    return json.loads(shown.output)


def _loss(answer, name):
    return next(x["silver_g"] for x in answer["losses"] if x["name"].startswith(name))


def test_a_hot_late_wash_by_its_own_temperature():
    # Source: tests/data/silver_solubility.csv: 17 to 20 mg/L in water at 95 °C, four databases.
    _, value, high = _loss(_yield("--chloride", "100", "--decant", "1:4:0:95"), "dissolved")
    assert 0.017 <= value <= 0.0202
    assert high >= 0.0202
    # Its chloride not known: the range goes from where least dissolves to an acid of 1 mol/L.
    _, unknown, most = _loss(_yield("--chloride", "100", "--decant", "1:4::95"), "dissolved")
    assert 0.017 <= unknown <= 0.0202
    assert most > 0.1


def test_a_soak_in_strong_acid_holds_half_a_gram():
    # Source: tests/data/silver_solubility.csv: 223 and 612 mg/L in 6 mol/L HCl at 25 °C.
    low, value, high = _loss(_yield("--chloride", "500", "--decant", "1:12:6"), "dissolved")
    assert 0.223 <= value <= 0.612
    assert low < 0.223
    assert high > 0.612


def test_at_most_0_on_a_strip_is_a_bound():
    # pH 0 is 1 mol/L or more, up to 12; so is what dissolves: 8 mg/L to grams.
    assert chloride_by_ph(0.0, (0.0, 0.3))[1] == 12.0
    low, _, high = dissolved_mg_l(Decant("soak", 1.0, chloride_by_ph(0.0, (-0.3, 0.3))))
    assert low < 8.0
    assert high > 612.0  # tests/data/silver_solubility.csv at 6 mol/L


def test_a_read_wash_has_its_own_chloride():
    # 0.1 mol/L HCl reads 1.1: tests/data/silver_solubility.csv.
    low, high = chloride_by_ph(1.1, (0.9, 1.3))
    assert low < 0.1 < high
    assert chloride_by_ph(6.5)[1] == pytest.approx(0.005)  # neutral: the water's own chloride


def test_ten_like_decants_err_alike():
    # Ten times 0.2 to 6 g/L... ends of one cause add: ten litres of 15 to 800 mg/L give 0.11 to 6.0 g.
    answer = _yield("--chloride", "500", "--moisture", "dry", *(["--decant", "1:0.9:0.01"] * 10))
    high = sum(x["silver_g"][2] for x in answer["losses"] if x["name"].startswith("fines"))
    assert high == pytest.approx(10 * 0.8 * 0.7526, rel=1e-3)
    assert answer["explained_g"][2] == pytest.approx(6.02, abs=0.1)


def test_causes_add_in_quadrature_and_their_losses_do_not():
    alike = tuple(Loss(f"fines {i}", (0.0, 1.0, 4.0), "x", cause="fines") for i in range(4))
    assert add_by_cause(alike) == (0.0, 4.0, 16.0)
    apart = tuple(Loss(f"number {i}", (0.0, 1.0, 4.0), "x", cause=str(i)) for i in range(4))
    assert add_by_cause(apart)[2] == pytest.approx(4.0 + 6.0)  # sqrt(4 x 3^2)


@pytest.mark.parametrize(("solid", "share"), [("chloride", 0.752648), ("oxide", 0.93096), ("metal", 1.0)])
def test_fines_of_chloride_and_oxide_are_not_metal(solid, share):
    # Source: tests/data/constants.csv: Ag in AgCl 0.752648, in Ag2O 0.930960.
    fines = decant_loss(Decant("x", 1.0, settled_h=12.0, solid=solid))[1]
    assert fines.silver_g[1] == pytest.approx(0.008 * share, rel=1e-4)


def test_chloride_of_which_nobody_says_how_wet_it_is():
    # Common practice, no source: a drained cake holds 20 to 50 % water; dry, none.
    low, value, high = _yield("--chloride", "100")["expected_g"]
    assert low == pytest.approx(99.9 * 0.5 * 0.752648, rel=1e-4)
    assert high == pytest.approx(100.1 * 0.752648, rel=1e-4)
    assert low < value < high
    assert "Nobody said how wet" in _plan("yield", "--chloride", "100").output
    assert "Nobody said how wet" in _plan("lye", "--chloride", "100").output
    dry = json.loads(_plan("lye", "--chloride", "100", "--json").output)["chloride"]["dry_g"]
    assert dry == pytest.approx([50.0, 75.0, 100.0])


@pytest.mark.parametrize(
    ("words", "span"),
    [("dry", (0.0, 0.01)), ("Drained", (0.2, 0.5)), ("wet", (0.2, 0.5)), ("25-30 %", (0.25, 0.3)), (None, (0.0, 0.5))],
)
def test_moistures_in_words(words, span):
    assert moisture_of(words) == pytest.approx(span)


def test_lots_of_chloride_add_up():
    one = _yield("--chloride", "132.8643", "--moisture", "0", "--scale", "0")["expected_g"]
    three = _yield(*(["--chloride", "132.8643"] * 3), "--moisture", "0", "--scale", "0")["expected_g"]
    # 1.328643 g of chloride a gram of silver: tests/data/constants.csv.
    assert one == pytest.approx([100.0] * 3, rel=1e-5)
    assert three == pytest.approx([300.0] * 3, rel=1e-5)


def test_a_second_weight_asks_whether_it_replaces_or_adds():
    first = Weighing("chloride", 100.0, moisture=(0.0, 0.0), number=1)
    asked = asked_of_weight([first], Weighing("chloride", 120.0))
    assert "120 g replace it" in asked.sentence
    assert [choice.data for choice in asked.choices[:2]] == [{"again": "adds"}, {"again": "replaces", "replaces": 1}]
    assert asked_of_weight([first], Weighing("chloride", 120.0, again="adds")) is None
    assert asked_of_weight([first], Weighing("chloride", 120.0, again="replaces")) is None  # there is but one
    assert asked_of_weight([first], Weighing("input", 120.0)) is None  # another thing
    assert asked_of_weight([Weighing("powder", 10.0)], Weighing("powder", 9.9)) is None  # it dries
    second = Weighing("chloride", 50.0, moisture=(0.0, 0.0), again="adds")
    assert expected_of([first, second])[1] == pytest.approx(150.0 * 0.752648, rel=1e-5)
    other = Weighing("chloride", 50.0, moisture=(0.0, 0.0), again="replaces")
    assert expected_of([first, second, other])[1] == pytest.approx(50.0 * 0.752648, rel=1e-5)
    assert expected_of([Weighing("chloride", 0.0)]) is None


def test_a_third_weight_says_which_one_it_replaces_and_what_is_expected_then():
    lots = [Weighing("chloride", 100.0, moisture=(0.0, 0.0), number=1)]
    lots += [Weighing("chloride", 50.0, moisture=(0.0, 0.0), again="adds", number=2)]
    third = Weighing("chloride", 5.0, moisture=(0.0, 0.0), again="replaces")
    asked = asked_of_weight(lots, third)
    assert asked.code == "which_weight"
    told = [choice.label.rpartition(": ")[2] for choice in asked.choices[:3]]
    assert told == ["116.7 g)", "41.4 g)", "79.03 g)"]  # of 155, 55 and 105 g: 0.752648 g of silver in each
    assert asked_of_weight(lots, replace(third, replaces=2)) is None
    assert expected_of([*lots, replace(third, replaces=2, number=3)])[1] == pytest.approx(105 * 0.752648, rel=1e-5)
    with pytest.raises(CallError, match="note 9 is no weight"):
        asked_of_weight(lots, replace(third, replaces=9))


@pytest.mark.parametrize(
    "args",
    [("--metal", "0"), ("--chloride", "0"), ("--chloride", "10", "--metal", "10"),
     ("--chloride", "10", "--decant", "1"), ("--chloride", "10", "--decant", "1:2:3:4:5"),
     ("--chloride", "10", "--moisture", "soggy")],
)  # fmt: skip
def test_a_wrong_call_is_one_line(args):
    wrong = _plan("yield", *args)
    assert isinstance(wrong.exception, CallError)
    assert "\n" not in str(wrong.exception)


def test_a_balance_that_starts_from_nothing_says_so():
    found = balance((0.0, 0.0, 0.0), (10.0, 0.1), ())
    assert found.share is None
    assert "strike it out" in found.verdict


def test_chalk_of_hard_water_weighs_with_the_silver():
    # Source: tests/data/lye_wash_chalk.csv: 0.179 + 0.197 + 0.057 g/L at 4 mmol/L.
    washes = ["--lye-wash", "2"] * 3
    with_chalk = _yield("--metal", "100", "--weighed", "90", *washes, "--alkalinity", "4")
    without = _yield("--metal", "100", "--weighed", "90")
    assert with_chalk["chalk_g"][1] == pytest.approx(2 * (0.179 + 0.197 + 0.057), rel=1e-3)
    assert without["weighed_g"][1] - with_chalk["weighed_g"][1] == pytest.approx(with_chalk["chalk_g"][1])
    assert "dilute acid" in " ".join(with_chalk["notes"])
