"""The command line in each language: by its option, by the environment, in help, output and errors."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from service.cli import main

ROOT = Path(__file__).resolve().parents[2]
PLAN = ["plan", "lye", "--chloride", "500 g", "--moisture", "0.3"]


def said(capsys, *argv):
    with pytest.raises(SystemExit) as stop:
        main(list(argv))
    out = capsys.readouterr()
    return stop.value.code, out.out + out.err


@pytest.mark.parametrize(
    "argv", [["--language", "de", *PLAN], [*PLAN, "--language=de"], ["plan", "--language", "de", *PLAN[1:]]]
)
def test_the_option_anywhere(capsys, argv):
    code, text = said(capsys, *argv)
    assert code == 0
    assert "Trockenes Chlorid" in text
    assert "1,4 L" in text
    assert "Dry chloride" in said(capsys, *PLAN)[1]  # and English again


def test_the_environment(capsys, monkeypatch):
    monkeypatch.setenv("LANG", "es_ES.UTF-8")
    assert "Cloruro seco" in said(capsys, *PLAN)[1]
    assert "Dry chloride" in said(capsys, *PLAN, "--language", "en")[1]
    assert "LANGUAGE" not in os.environ


@pytest.mark.parametrize("wrong", [["--language"], ["--language", "xx"], ["--language=", "card"]])
def test_no_such_language(capsys, wrong):
    code, text = said(capsys, *wrong)
    assert code == 2
    assert text.count("\n") == 1
    assert "en, de, es" in text


def test_after_two_dashes_it_is_an_argument(capsys):
    assert "no such photo: --language" in said(capsys, "tint", "--", "--language")[1]


def test_help_is_told_and_names_stay(capsys):
    _code, text = said(capsys, "read", "--help", "--language", "de")
    for part in (
        "Aufruf:",
        "Optionen:",
        "--several-strips",
        "Spülwasser",
        "stripread read",
        "Exit-Code 0",
    ):
        assert part in text
    assert "Befehle:" in said(capsys, "--language", "de", "--help")[1]
    assert "Usage:" in said(capsys, "read", "--help")[1]
    assert "Waschgänge" in said(capsys, "plan", "wash", "--help", "--language", "de")[1]


@pytest.mark.parametrize(
    ("argv", "part"),
    [
        (["raed"], "Kein solcher Befehl 'raed'. Gemeint: read oder reread?"),
        (["read"], "Fehlendes Argument 'PHOTOS...'."),
        (["card", "--nix"], "Keine solche Option"),
        (["tint", "nowhere.jpg"], "kein solches Foto: nowhere.jpg"),
        (
            ["plan", "lye", "--chloride", "-1 g"],
            "--chloride: muss zwischen 0,0001 und 100000 g liegen, nicht -1 g: Zahl und Einheit prüfen",
        ),
    ],
)
def test_wrong_calls_are_said_on_one_line(capsys, argv, part):
    code, text = said(capsys, *argv, "--language", "de")
    assert code == 2
    assert part in text
    assert text.count("\n") == 1


def test_json_keeps_codes_fields_and_numbers(capsys):
    english = json.loads(said(capsys, *PLAN, "--json")[1])
    german = json.loads(said(capsys, *PLAN, "--json", "--language", "de")[1])
    assert german.keys() == english.keys()
    assert german["dose"] == english["dose"]
    assert german["chloride"] == english["chloride"]
    assert german["cautions"] != english["cautions"]


def test_english_loads_neither_catalogue_nor_babel():
    code = (  # the units library of the plans loads babel by itself where it is installed
        "import sys; from service.cli import main\n"
        "try: main(['card', '--layout'])\n"
        "except SystemExit: pass\n"
        "assert not [m for m in sys.modules if m.split('.')[0] == 'babel'], 'babel'"
    )
    found = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert found.returncode == 0, found.stderr


def test_a_stage_with_its_cautions_is_told(capsys, tmp_path):
    log = ("--data", str(tmp_path))
    said(capsys, "batch", "new", "Juli", *log)
    english = said(capsys, "batch", "show", "1", *log)[1].splitlines()
    german = said(capsys, "batch", "show", "1", *log, "--language", "de")[1].splitlines()
    assert "Freigabe: ? unklar" in german[0] or "Freigabe: unklar" in german[0]
    assert len(german) == len(english)
    assert sum(line.startswith("! ") for line in english) > 2
    assert not set(english) & set(german)
