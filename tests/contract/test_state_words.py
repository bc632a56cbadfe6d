"""One table of states: each has word, sign and colours that can be read, and no other file spells its own."""

import ast
import re
import tomllib
from itertools import combinations
from pathlib import Path
from typing import get_args

import pytest

from service.bench.gates.verdict import State
from service.web.page_states import page_files
from stripread.picture.parts import GROUND, INK
from stripread.results import Status
from stripread.states.table import KINDS, state, table

ROOT = Path(__file__).resolve().parents[2]
FILE = ROOT / "stripread" / "states" / "state_words.toml"
CODES = {"ok", "doubtful", "refused", "open", "hold", "cannot tell", "done", "stalled", "refuse", "doubt", "note"}
# What states were called before there was the table, in anything that a person reads.
FORMER = re.compile(r"\bdoubtful\b|\bREFUSED\b|\bwell read\b|^\W*Hold\W*$|\[ok\]|gate (open|hold|cannot)")
SIGNS = "✓✕■⚠"
# A tick that says "chosen", "enough" or "saved": no state.
ELSEWHERE = {("service/page/app.css", "✓"), ("service/page/plan.js", "✓"), ("service/page/notes.js", "✓")}
ELSEWHERE |= {("service/page/compare.js", "■")}  # a mark in a plot
WORDS = {one.word for codes in table().states.values() for one in codes.values() if " " in one.word or "'" in one.word}


def _python():
    return [path for room in ("stripread", "calibration", "service") for path in sorted((ROOT / room).rglob("*.py"))]


def _page():
    found = [*(ROOT / "service" / "page").iterdir(), *(ROOT / "service" / "report" / "templates").iterdir()]
    return [
        path for path in sorted(found) if path.suffix in (".js", ".css", ".html", ".j2") and "uplot" not in path.name
    ]


def _shown_texts(path):
    """Texts of a Python file, docstrings left out, but for those that are a code and nothing else."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    documenting = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    for node in ast.walk(tree):
        text = isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in documenting
        if text and node.value not in CODES:
            yield node.value


def _without_codes(path):
    """A page's file without its comments and without texts that are a code and nothing else."""
    text = re.sub(r"(?m)(?<![:\"'`])//.*$|/\*.*?\*/|^#.*$", "", path.read_text(encoding="utf-8"))
    text = re.sub(r"data-state=\"[a-z ]+\"", "", text)  # names a state: the table has its word
    return re.sub(r"([\"'`])(" + "|".join(sorted(CODES)) + r")\1|\bdoubtful\b(?= %}|:)|\.doubtful\b", "", text)


def _faults(name, text):
    text = text.replace("ok, doubtful, refused", "")  # the codes named one after the other
    found = [f"{name}: {text!r} says {former[0]!r}" for former in FORMER.finditer(text)]
    found += [f"{name}: {text[:60]!r} has {sign}" for sign in SIGNS if sign in text and (name, sign) not in ELSEWHERE]
    # A word that stands alone, with signs and brackets at most: in a sentence it is plain English.
    alone = (rf"(^|[\"'`>])[^\w\"'`]*[{word[0]}{word[0].upper()}]{word[1:]}[^\w\"'`]*($|[\"'`<])" for word in WORDS)
    return found + [f"{name}: {text[:60]!r} spells one" for pattern in alone if re.search(pattern, text)]


def test_no_python_file_spells_its_own_states():
    found = [
        fault
        for path in _python()
        for text in _shown_texts(path)
        for fault in _faults(path.relative_to(ROOT).as_posix(), text)
    ]
    assert found == []


def test_no_file_of_the_page_or_the_report_spells_its_own_states():
    found = [fault for path in _page() for fault in _faults(path.relative_to(ROOT).as_posix(), _without_codes(path))]
    assert [fault[:160] for fault in found] == []


@pytest.mark.parametrize(
    "text", ['{"ok": "fine", "doubtful": "hm"}', '{"open": "go", "cannot tell": "?"}', '{"refuse": "no", "doubt": 1}']
)
def test_a_table_of_its_own_is_seen(text):
    assert _own_tables(ast.parse(text))


def _own_tables(tree):
    """Dictionaries from two or more codes of one kind to words or colours."""
    kinds = [set(codes) for codes in table().states.values()]
    for node in ast.walk(tree):
        if isinstance(node, ast.Dict):
            keys = {key.value for key in node.keys if isinstance(key, ast.Constant)}
            words = [v for v in node.values if isinstance(v, ast.Constant | ast.Tuple | ast.JoinedStr)]
            if words and any(len(keys & kind) >= 2 for kind in kinds):
                yield node.lineno


def test_no_python_file_has_a_table_of_its_own():
    found = {}
    for path in _python():
        lines = list(_own_tables(ast.parse(path.read_text(encoding="utf-8"))))
        if lines and path.relative_to(ROOT).as_posix() != "calibration/check_picture.py":  # markers, words from here
            found[path.relative_to(ROOT).as_posix()] = lines
    assert found == {}


OWN_OBJECT = re.compile(
    r"(?:[\"']?\b(?:ok|doubtful|refused|open|hold|cannot tell|refuse|doubt)\b[\"']?\s*:\s*[\"'`][^,}]*[,}]\s*){2}"
)


def test_no_script_of_the_page_has_a_table_of_its_own():
    assert OWN_OBJECT.search('const GATE = { open: "go", hold: "stay", "cannot tell": "?" };')
    assert [path.name for path in _page() if OWN_OBJECT.search(path.read_text(encoding="utf-8"))] == []


def test_no_other_file_spells_the_colours():
    tones = {colour for tone in table().tones.values() for colour in (tone.light, tone.dark)}
    tones -= {"#0b3d91", "#a9c7ff"}  # the page's own blue as well
    files = [*_python(), *_page()]
    assert [path.name for path in files if any(tone in path.read_text(encoding="utf-8") for tone in tones)] == []


def test_every_code_has_its_state():
    assert set(table().states["reading"]) == set(get_args(Status))
    assert set(table().states["gate"]) == set(get_args(State))
    assert set(table().states["reason"]) == {"refuse", "doubt", "note"}
    assert set(table().states["forecast"]) == {"ok", "done", "stalled", "cannot tell"}


def test_the_file_says_nothing_that_is_not_read():
    raw = tomllib.loads(FILE.read_text(encoding="utf-8"))
    assert set(raw) == {*KINDS, "tone", "theme"}
    assert {one["tone"] for kind in KINDS for one in raw[kind].values()} == set(raw["tone"])
    assert all(set(one) == {"word", "sign", "tone"} for kind in KINDS for one in raw[kind].values())


@pytest.mark.parametrize("kind", KINDS)
def test_states_of_one_kind_differ_without_colour(kind):
    for one, other in combinations(table().states[kind].values(), 2):
        assert one.word != other.word
        assert kind == "notice" or one.sign != other.sign  # two warnings, told by their words


def test_words_are_plain_whole_texts():
    for codes in table().states.values():
        for one in codes.values():
            assert one.word == one.word.strip()
            assert not set("{}%<>") & set(one.word)
            assert len(one.sign) == 1


def test_a_terminal_without_the_sign_gets_the_word(monkeypatch, capsys):
    assert state("reading", "ok").printed == "✓ read"

    class Old:
        encoding = "cp1252"

    monkeypatch.setattr("sys.stdout", Old())
    assert state("reading", "ok").printed == "read"


def test_the_page_gets_every_state_and_colour():
    script, sheet = page_files()["/states.js"][0], page_files()["/states.css"][0]
    for codes in table().states.values():
        for code, one in codes.items():
            assert f'"{code}"' in script
            assert f'"{one.word}"' in script
    for name, tone in table().tones.items():
        light, dark = sheet.split("@media (prefers-color-scheme: dark)")
        assert f"--{name}: {tone.light}" in light
        assert f"--{name}: {tone.dark}" in dark


# --- contrast


def _luminance(colour):
    """Relative luminance of #rrggbb (WCAG 2.2, definition of relative luminance)."""
    parts = [int(colour[k : k + 2], 16) / 255.0 for k in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one, other):
    """Contrast ratio of two colours (WCAG 2.2, definition of contrast ratio)."""
    light, dark = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_formula():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)  # from memory: just short of AA


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_state_words_value_and_interval_have_seven_to_one(theme):
    grounds = table().themes[theme]
    for ground in (grounds["ground"], grounds["paper"]):
        assert contrast(grounds["ink"], ground) >= 7.0  # value and interval
        for tone in table().tones.values():
            assert contrast(getattr(tone, theme), ground) >= 7.0, (tone.name, theme, ground)


def test_a_picture_shows_value_interval_and_state_in_ink_that_can_be_read():
    assert contrast(INK, GROUND) >= 7.0
