"""`stripread plan waste` in worked situations: no dose where the right answer is to hold."""

from __future__ import annotations

import json
from dataclasses import dataclass

import pytest
from click.testing import CliRunner

from service.cli import app
from stripread.errors import CallError


def _plan(*args):
    return CliRunner().invoke(app, ["plan", "waste", *args])


@dataclass(frozen=True)
class Case:
    """The call; whether a way to neutralise is right; words that must be there; why; source."""

    args: str
    dose: bool
    words: tuple[str, ...]
    why: str
    source: str = "tests/data/vessel.csv (PHREEQC)"


HAZARDS = "service/bench/data/hazards.toml"
CASES = [
    Case("--poured 5:1 --ammonia --metal silver", False, ("never make it alkaline", "pH 2 or below"), "acid", HAZARDS),
    Case(
        "--poured 5:12 --ammonia --metal silver", False, ("Danger in the vessel", "hydrochloric acid"), "lye", HAZARDS
    ),
    Case("--poured 5:7 --ammonia --metal silver", False, ("never make it alkaline",), "near neutral", HAZARDS),
    Case("--poured 5:1 --poured 1:13 --ammonia --metal silver", False, ("Danger in the vessel",), "both", HAZARDS),
    Case("--poured 5:1 --ammonia", False, ("Is silver in it?",), "no metal named", HAZARDS),
    Case("--poured 5:1 --ammonia --metal copper", True, ("stop at pH 6 to 7",), "copper only"),
    Case("--poured 5:1 --contains ammonia --metal silver", False, ("never make it alkaline",), "by name", HAZARDS),
    Case("--poured 5:1", True, ("stop at pH 9 to 10", "it ends at pH 6.7 to 8.2"), "acid"),
    Case("--poured 5:1 --metal silver", True, ("no chloride named", "Add salt"), "silver without chloride"),
    Case("--poured 5:1 --metal silver --contains salt", True, ("stop at pH 9 to 10",), "silver with chloride"),
    Case("--poured 5:1 --metal copper --contains citrate", True, ("100 of 100 mg/L", "stop at pH 6 to 8"), "citrate"),
    Case("--poured 3:12.5 --metal copper", True, ("muriatic acid 31 %",), "copper in lye"),
    Case("--poured 3:12.5", True, ("citric acid monohydrate",), "lye"),
    Case("--poured 3:7", False, ("Near neutral",), "nothing to do"),
    Case("--poured 3:1.5 --poured 1:12.5", False, ("read its pH first",), "acid or lye"),
    Case("--poured 3", False, ("read its pH first",), "nobody read it"),
    Case("--poured 3:12 --contains cyanide", False, ("licensed",), "acid onto cyanide", HAZARDS),
    Case("--poured 3:12 --contains sulfide", False, ("collection",), "acid onto sulfide", HAZARDS),
    Case("--poured 3:12 --contains bleach", False, ("collection",), "acid onto bleach", HAZARDS),
    Case("--poured 3:1 --contains bleach", False, ("chlorine",), "bleach in acid", HAZARDS),
    Case("--poured 3:1 --contains nitrate --contains sugar", False, ("brown fumes",), "nitrate with sugar", HAZARDS),
]


@pytest.mark.parametrize("case", CASES, ids=lambda c: c.args)
def test_a_worked_situation(case):
    shown = _plan(*case.args.split())
    assert shown.exit_code == 0, shown.output
    for words in case.words:
        assert words in shown.output
    answer = json.loads(_plan(*case.args.split(), "--json").output)
    assert bool(answer["ways"]) == case.dose
    assert ("To neutralise, one of" in shown.output) == case.dose


def test_no_way_takes_silver_with_ammonia_up():
    for poured in ("5:0", "5:1", "5:3", "5:6", "5:8", "5:10", "5:13", "5:1:0.8:1.3"):
        answer = json.loads(_plan("--poured", poured, "--ammonia", "--metal", "silver", "--json").output)
        assert answer["ways"] == []


def test_citric_acid_is_no_way_where_copper_is():
    answer = json.loads(_plan("--poured", "3:12.5", "--metal", "copper", "--json").output)
    assert [way["what"] for way in answer["ways"]] == ["hydrochloric acid (as HCl)"]
    assert answer["ways"][0]["grams"][1] == pytest.approx(4.13, rel=0.02)


def test_each_way_says_its_end_and_amounts_as_sold():
    answer = json.loads(_plan("--poured", "5:1:0.9:1.1", "--metal", "none", "--json").output)
    assert {way["what"] for way in answer["ways"]} == {
        "soda lye (NaOH)", "slaked lime (Ca(OH)2)", "washing soda (Na2CO3)", "baking soda (NaHCO3)",
    }  # fmt: skip
    for way in answer["ways"]:
        assert way["as_bought"]
        assert way["end_ph"][0] < way["end_ph"][1]
        assert way["source"]


@pytest.mark.parametrize(
    "args", [("--poured", "5:1", "--metal", "slver"), ("--poured", "5:1", "--contains", "blue stuff"),
             ("--poured", "nan:1"), ("--poured", "5:nan"), ("--poured", "5:5:6:7"), ("--poured", "1:2:3")],
)  # fmt: skip
def test_what_nobody_knows_is_asked_in_one_line(args):
    wrong = _plan(*args).exception
    assert isinstance(wrong, CallError)
    assert "\n" not in str(wrong)
