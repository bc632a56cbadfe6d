"""Which warnings go with which contents, and the words that the law has for them."""

import csv
from pathlib import Path

import pytest

from service.bench.vessel.contents import Poured, contents_of
from service.report.labels.label import label_of, strength_words
from service.report.labels.statements import SIGNALS, STATEMENTS, signal_of, statements_of, symbols_of
from stripread.words import say, speaking

TABLE = Path(__file__).parents[1] / "data" / "hazard_statements.csv"


def _codes(*poured):
    return [one.code for one in statements_of(contents_of(list(poured)))]


def test_texts_are_those_of_the_table_in_every_language():
    with TABLE.open(encoding="utf-8", newline="") as file:
        rows = {row["code"]: row for row in csv.DictReader(file)}
    assert rows.keys() == STATEMENTS.keys() | SIGNALS.keys()
    said = {**{code: one.text for code, one in STATEMENTS.items()}, **SIGNALS}
    for language in ("en", "de", "es"):
        with speaking(language):
            assert {code: say(text) for code, text in said.items()} == {c: row[language] for c, row in rows.items()}
    assert all(row["source"] for row in rows.values())


@pytest.mark.parametrize("water", [Poured("rinse water", 1.0, 7.0, (6.5, 7.5)), Poured("rinse water", 1.0, mol=0.0)])
def test_water_alone_has_no_statement(water):
    held = contents_of([water])
    label = label_of("main", "Vessel", ("water",), held)
    assert label.statements == ()
    assert label.signal is None
    assert symbols_of(label.statements) == ()


# Corrosive from pH 2 down and 11.5 up: CLP Annex I, 3.2.3.1.2 (from memory); what the interval reaches counts.
@pytest.mark.parametrize(
    ("ph", "interval", "corrosive"),
    [
        (1.5, (1.3, 1.7), True),
        (2.3, (1.9, 2.7), True),
        (2.6, (2.2, 3.0), False),
        (11.0, (10.6, 11.4), False),
        (11.2, (10.8, 11.6), True),
        (12.5, (12.3, 12.7), True),
    ],
)
def test_corrosive_by_the_ph_that_the_reading_may_reach(ph, interval, corrosive):
    assert _codes(Poured("", 2.0, ph, interval)) == (["H290", "H314"] if corrosive else [])


@pytest.mark.parametrize("contents", [("iron powder", "acid"), ("zinc powder", "lye"), ("silver powder", "acid")])
def test_a_vessel_that_may_give_off_hydrogen_is_never_closed(contents):
    label = label_of("main", "Vessel", (), contents_of([Poured("", 1.0, contents=contents)]))
    assert any("never close it" in caution for caution in label.cautions) == (contents[0] != "silver powder")


def test_what_nobody_read_counts_as_corrosive_and_what_was_neutralised_does_not():
    assert _codes(Poured("", 1.0, contents=("acid",))) == ["H290", "H314"]
    assert _codes(Poured("", 1.0)) == ["H290", "H314"]
    # 0.1 mol of acid and of lye, each known to a tenth, in 21 L: 0.001 mol/L at most
    assert _codes(Poured("", 1.0, mol=0.1), Poured("", 20.0, mol=-0.1)) == []


# Silver and copper compounds H410, ammonia H400 and H335: CLP Annex VI, from memory.
def test_silver_copper_and_ammonia_have_their_statements():
    assert _codes(Poured("", 1.0, 7.0, (6.5, 7.5), metals=("silver",))) == ["H410"]
    assert _codes(Poured("", 1.0, 7.0, (6.5, 7.5), contents=("copper chloride",))) == ["H410"]
    assert _codes(Poured("", 1.0, 4.0, (3.5, 4.5), ammonia=True)) == ["H400"]
    assert _codes(Poured("", 1.0, contents=("ammonia",))) == ["H290", "H314", "H335", "H400"]
    assert "EUH031" in _codes(Poured("", 1.0, contents=("bleach",)))


def test_the_stronger_signal_word_stands_alone_and_each_symbol_once():
    held = contents_of([Poured("", 1.0, 1.0, (0.8, 1.2), metals=("silver", "copper"))])
    found = statements_of(held)
    assert signal_of(found, held) == "danger"
    assert symbols_of(found) == ("corrosion", "environment")
    mild = contents_of([Poured("", 1.0, 7.0, (6.5, 7.5), metals=("silver",))])
    assert signal_of(statements_of(mild), mild) == "warning"


def test_what_is_not_judged_here_is_danger_and_names_its_bottle():
    held = contents_of([Poured("", 1.0, 7.0, (6.5, 7.5), contents=("cyanide", "peroxide"))])
    label = label_of("stock", "Stock", ("waste",), held)
    assert label.signal == "danger"
    assert "cyanide, peroxide" in label.cautions[0]
    assert "bottle" in label.cautions[0]


def test_silver_with_ammonia_says_that_it_may_explode():
    held = contents_of([Poured("", 1.0, 2.0, (1.5, 2.5), metals=("silver",), ammonia=True)])
    assert "explosive" in label_of("stock", "Stock", ("waste",), held).cautions[0]


# 0.1 mol/L: NaOH 40.0 g/mol, 0.40 %; HCl 36.5 g/mol, 0.36 % (IUPAC weights); a recipe's amount is known to a tenth.
@pytest.mark.parametrize(
    ("mol", "words"),
    [
        (-0.2, "lye, as sodium hydroxide about 0.40 % (0.36 to 0.44 %)"),
        (0.2, "acid, as hydrochloric acid about 0.36 % (0.33 to 0.40 %)"),
        (0.0, "near neutral by what was read"),
    ],
)
def test_strength_in_words(mol, words):
    assert strength_words(contents_of([Poured("", 2.0, mol=mol)])) == words


def test_strength_that_nobody_knows_is_asked_for():
    assert strength_words(contents_of([Poured("", 1.0)])) == "acid or lye: read its pH first"
    assert strength_words(contents_of([Poured("", 1.0, contents=("lye",))])) == "lye, how much was not read"
    assert strength_words(contents_of([Poured("", 1.0, 0.5, (0.3, 0.7))])).endswith("or more: a strip stood at its end")
