"""Which language is spoken, and how numbers and times are written in it."""

import threading
from contextvars import copy_context
from datetime import datetime

import pytest

from service.web.page_states import page_files
from stripread.reasons import REASONS, because
from stripread.states.table import state
from stripread.words import LANGUAGES, N_, _, _n, number, say, speaking, spoken
from stripread.words.dates import moment
from stripread.words.wanted import by_name, from_environment, from_header


@pytest.mark.parametrize(
    ("environment", "language"),
    [
        ({}, "en"),
        ({"LANG": "C.UTF-8"}, "en"),
        ({"LANG": "de_DE.UTF-8"}, "de"),
        ({"LANG": "de_DE.UTF-8", "LC_ALL": "es_ES.UTF-8"}, "es"),
        ({"LANG": "de_DE.UTF-8", "LC_ALL": "es_ES", "LANGUAGE": "en"}, "en"),
        ({"LANGUAGE": "fr:de:es"}, "de"),
        ({"LANGUAGE": "", "LANG": "de_AT@euro"}, "de"),
        ({"LANG": "fr_FR.UTF-8"}, "en"),
        ({"LC_MESSAGES": "es"}, "es"),
    ],
)
def test_of_the_environment(environment, language):
    assert from_environment(environment) == language


@pytest.mark.parametrize(
    ("header", "language"),
    [
        ("", None),
        ("de", "de"),
        ("de-AT,de;q=0.9,en;q=0.8", "de"),
        ("fr,es;q=0.4,de;q=0.5", "de"),
        ("fr;q=0.9", None),
        ("*", "en"),
        ("de;q=0, es;q=0.1", "es"),
        ("de;q=0.5, en", "en"),
        ("de;q=x, es", "es"),
        ("ES-mx", "es"),
        (",;,=,de", "de"),
        ("x" * 5000 + ",de", None),
    ],
)
def test_of_a_header(header, language):
    assert from_header(header) == language


def test_names():
    assert [by_name(n) for n in ("de", "DE", "de-CH", "es_MX.UTF-8", "fr", "", "den")] == [
        "de",
        "de",
        "de",
        "es",
        None,
        None,
        None,
    ]


def test_spoken_within_and_english_after():
    assert spoken() == "en"
    with speaking("de"):
        assert say("Water") == "Wasser"
        with speaking("es"):
            assert _("no such photo: {path}", path="a.jpg") == "no existe la foto: a.jpg"
        assert spoken() == "de"
    assert (spoken(), say("Water")) == ("en", "Water")
    with pytest.raises(ValueError, match="no such language"), speaking("xx"):
        pass


def test_threads_speak_each_their_own():
    heard = {}

    def hear(name):
        with speaking(name):
            barrier.wait(5)
            heard[name] = say("Water")

    barrier = threading.Barrier(3)
    threads = [threading.Thread(target=copy_context().run, args=(hear, name)) for name in LANGUAGES]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(5)
    assert heard == {"en": "Water", "de": "Wasser", "es": "Agua"}


def test_numbers_by_language():
    assert number(1234.5, ",.1f") == "1,234.5"
    with speaking("de"):
        assert number(1234.5, ",.1f") == "1.234,5"
        assert _("pH {ph:.2f}  (95 %: {low:.2f} to {high:.2f})", ph=3.4, low=3.2, high=3.6) == (
            "pH 3,40  (95 %: 3,20 bis 3,60)"
        )
        assert _("{times} {text}", times=3, text="a 1.5 b") == "3 a 1.5 b"  # text is left alone
        assert number(0.05, ".0%") == "5\u00a0%"
    with speaking("es"):
        assert number(-0.5, "+.2f") == "-0,50"


@pytest.mark.parametrize(
    ("value", "shown"), [(1234.0, "1230"), (99999.0, "100000"), (-2.5e-5, "-0.000025"), (1e-30, "1e-30")]
)
def test_figures_without_powers_of_ten(value, shown):
    assert number(value, ".3g") == shown
    assert (
        _("{value:.3g}{unit} ({low:.3g} to {high:.3g})", value=value, unit=" g", low=1, high=2) == f"{shown} g (1 to 2)"
    )


def test_plurals():
    assert [_n("{n} photo", "{n} photos", n) for n in (0, 1, 2)] == ["0 photos", "1 photo", "2 photos"]
    with speaking("de"):
        assert [_n("{n} photo", "{n} photos", n) for n in (0, 1, 2)] == ["0 Fotos", "1 Foto", "2 Fotos"]
    with speaking("es"):
        assert _n("{n} photo", "{n} photos", 1_000_000) == "1000000 fotos"


def test_times():
    at = datetime(2026, 11, 3, 14, 5)
    assert moment(at) == "14:05 on 03 November"
    with speaking("de"):
        assert moment(at) == "3. November, 14:05"


def test_braces_without_places_stay_and_what_has_no_translation_is_english():
    assert _("{offset_mm = 2.0}") == "{offset_mm = 2.0}"
    with speaking("de"):
        assert _("{offset_mm = 2.0}") == "{offset_mm = 2.0}"
        assert N_("Water") == "Water"
        assert say("") == ""


@pytest.mark.parametrize("language", ["de", "es"])
def test_every_reason_is_said_with_and_without_its_detail(language):
    for code in REASONS:
        with speaking(language):
            told, bare = because(code, "7.3 §").message, because(code).message
        assert told != because(code, "7.3 §").message or code == "limit_meaning"
        assert ("7.3 §" in told) == ("{detail}" in REASONS[code][1])
        assert "{detail}" not in bare
        assert "()" not in bare


def test_states_are_told_and_the_page_s_table_stays_english():
    english = page_files()
    with speaking("de"):
        assert state("reading", "refused").word == "nicht gemessen"
        assert page_files() == english
    assert state("reading", "refused").word == "not read"
