"""`stripread plan …` as a person calls it."""

from __future__ import annotations

import json

import pytest

from service.cli import main


def run(capsys, *args):
    with pytest.raises(SystemExit) as stop:
        main(["plan", *args])
    out = capsys.readouterr()
    return stop.value.code, out.out, out.err


def test_lye_says_what_is_left_and_how_to_be_careful(capsys):
    code, out, _ = run(capsys, "lye", "--chloride", "1 lb", "--moisture", "0.2-0.4")
    assert code == 0
    assert "Lye alone at 80 °C: Leaves" in out
    assert "not proof" in out
    assert "never lye into hot water" in out
    assert "Local law" in out


def test_lye_as_json_by_hand(capsys):
    code, out, _ = run(
        capsys,
        "lye",
        "--chloride",
        "143.3182 g",
        "--moisture",
        "0",
        "--lye-excess",
        "1",
        "--sugar-excess",
        "1",
        "--json",
    )
    answer = json.loads(out)
    assert code == 0
    assert answer["chloride"]["mol"][1] == pytest.approx(1.0, rel=1e-5)
    assert answer["dose"]["lye_g"][1] == pytest.approx(1.5 * 39.997 / 0.97, rel=1e-4)
    assert len(answer["plans"]) == 2


def test_wash_in_hard_water_warns_and_forecasts(capsys):
    code, out, _ = run(capsys, "wash", "--retained", "80 ml", "--added", "700 ml", "--water", "5 l", "--kind", "tap",
                       "--alkalinity", "4", "--reading", "1:1.1", "--reading", "2:2.2:1.9:2.5")  # fmt: skip
    assert code == 0
    assert "copper may fall pale green" in out
    assert "more wash" in out
    assert out.count("<- enough") == 1


def test_wash_by_the_table(capsys):
    # Source: PHREEQC: at a retained share of 0.1 in hard tap water (4 mmol/L) the fourth wash from 1 mol/L is done; the
    # third reads 6.7, which is inside the neutral band already.
    _, out, _ = run(
        capsys, "wash", "--retained", "0.1", "--added", "0.9", "--kind", "tap", "--alkalinity", "4", "--json"
    )
    assert json.loads(out)["washes"]["ideal"] == 3


def test_waste_offers_no_drain(capsys):
    code, out, _ = run(capsys, "waste", "--poured", "3:1.2", "--poured", "0.5:2:1.8:2.2", "--metal", "silver")
    assert code == 0
    assert "Nothing of this goes down a drain" in out
    assert "slaked lime" in out


def test_yield_names_the_decant_to_settle_again(capsys):
    code, out, _ = run(capsys, "yield", "--chloride", "412", "--moisture", "0.25-0.3", "--weighed", "215",
                       "--decant", "1.5:12:3", "--decant", "1:0.2")  # fmt: skip
    assert code == 0
    assert "Settle decant 2 a second time" in out
    assert "diluted 10 times" in out


@pytest.mark.parametrize(
    "args",
    [
        ("lye", "--chloride", "abc"),
        ("lye", "--chloride", "5 l"),
        ("lye", "--chloride", "5", "--moisture", "soggy"),
        ("lye", "--chloride", "5", "--moisture", "1.2"),
        ("lye", "--chloride", "5", "--unit", "banana"),
        ("lye", "--chloride", "5", "--unit", "litre"),
        ("lye", "--chloride", "5", "--temp", "500"),
        ("wash", "--retained", "0", "--added", "1"),
        ("wash", "--retained", "1"),
        ("wash", "--retained", "1", "--added", "1", "--kind", "tap"),
        ("wash", "--retained", "1", "--added", "1", "--acid", "nan"),
        ("wash", "--retained", "1", "--reading", "x"),
        ("wash", "--retained", "1", "--reading", "1:5:6:7"),
        ("waste", "--poured", "1:99"),
        ("waste", "--poured", "-1:5"),
        ("yield",),
        ("yield", "--metal", "10", "--fineness", "925"),
        ("yield", "--metal", "10", "--decant", "much"),
    ],
)
def test_a_wrong_call_is_one_line_and_code_2(capsys, args):
    code, out, err = run(capsys, *args)
    assert code == 2
    assert out == ""
    assert err.count("\n") == 1
    assert "internal problem" not in err
