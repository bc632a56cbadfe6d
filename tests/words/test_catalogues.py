"""The catalogues are complete: every sentence of the sources, the same places in it, labels that still fit."""

import re

import pytest
from babel.messages.catalog import Message
from babel.messages.pofile import read_po

from stripread.words import LANGUAGES, SOURCE
from stripread.words.language import NAMES
from tests.catalogues.checks import faults, of_message, places
from tests.catalogues.files import extracted, po_path

OTHERS = [language for language in LANGUAGES if language != SOURCE]


@pytest.mark.parametrize("language", OTHERS)
def test_nothing_is_missing_left_over_or_wrong(language):
    assert faults(language) == []


def test_a_word_for_bleach_in_one_place_and_lye_in_another_always_says_which():
    with po_path("es").open("rb") as file:
        told = [(str(m.id), str(m.string)) for m in read_po(file) if m.id and "lejía" in str(m.string).casefold()]
    assert len(told) > 5
    bare = [of for of, text in told if "bleach" not in of.casefold() or re.search(r"lejía(?! \(hipo|: hipo)", text)]
    assert bare == []


def test_each_language_has_a_folder_and_a_name():
    assert set(NAMES) == set(LANGUAGES)
    assert {path.name for path in po_path("de").parents[2].iterdir()} == set(OTHERS)


def test_sentences_come_from_calls_and_from_tables():
    ids = {m.id if isinstance(m.id, str) else m.id[0] for m in extracted() if m.id}
    assert "no such photo: {path}" in ids  # a call
    assert "g silver" in ids  # a call within a call
    assert "{n} photo" in ids  # a plural
    assert any(i.startswith("DANGER: ammonia with silver") for i in ids)  # the reasons
    assert "Read the pH from photos of a strip on the card." in ids  # the commands
    assert "Wash the lye out" in ids  # a shipped procedure


@pytest.mark.parametrize(
    ("source", "told", "said"),
    [
        ("Save", "", "no translation"),
        ("pH {ph:.1f} is off", "der pH ist daneben", "places"),
        ("pH {ph:.1f} is off", "pH {ph} ist daneben", "places"),
        ("pH {ph:.1f} is off", "pH {ph:.1f} von {wer} ist daneben", "places"),
        ("{a} to {a}", "{a}", "places"),
        (" end", "Ende", "spaces"),
        ("It is bad ({detail}). Stop.", "Es ist schlecht: {detail}. Halt.", "brackets"),
        ("Save", "In der Werkstatt speichern", "a label"),
    ],
)
def test_each_kind_of_fault_is_seen(source, told, said):
    found = list(of_message(Message(source, told)))
    assert len(found) >= 1
    assert said in found[0]


def test_a_fuzzy_translation_and_a_plural_without_its_place_are_faults():
    assert list(of_message(Message("Save", "Sichern", flags=["fuzzy"])))
    assert list(of_message(Message(("{n} photo", "{n} photos"), ("{n} Foto", "Fotos"))))


def test_places_have_their_forms_and_counts():
    assert places("{a:.1f} {a:.1f} {b!r}") == {("a", ".1f", ""): 2, ("b", "", "r"): 1}
    assert places("no place") == {}
