"""The page's scripts say every word through the catalogues: found by what is left of their texts without ``t``."""

import re
from pathlib import Path

import pytest

from service.web.page_words import PAGE, page_words, said_in_html

SCRIPTS = [path for path in sorted(PAGE.glob("*.js")) if path.name not in ("uplot.js", "sw.js", "words.js")]
TEXT = r'"((?:[^"\\\n]|\\.)*)"'
PATTERN = re.compile(r"/(?:[^/\\\n\[]|\\.|\[(?:[^\]\\]|\\.)*\])+/")
TOLD = re.compile(rf"\bt\(\s*{TEXT}|\btn\(\s*{TEXT},\s*{TEXT}")
WORDS = re.compile(r"[A-Za-z]{2,},? [A-Za-z]{2,}|^[A-Z][a-z]{2,}\b|(?:^|\s)(?:of|to|and|for|from|entry|note|wash)\s")
# Texts that nobody reads: names of classes, styles, headers, keys, codes that are sent.
NO_WORDS = re.compile(
    r"row wrap|verdict tone-(?:stop)?|note|big|glucose monohydrate|opened again|put back|read again|cannot tell"
    r"|(?:inverted )?table sugar|.*system-ui|(?:us|US) (?:fl oz|qt|gal)|(?:uk|UK) (?:pint|gal)|troy oz|small volume"
    r"|acid or lye|Etc/Unknown"
    r"|ph[a-z]+ate 22 C|borax 22 C|rinse water|AbortError|Content-Type|Idempotency-Key|Retry-After|GET|POST"
    r"|[a-z]+(?:\.[a-z-]+)* > \.?[a-z]|\[.*\]|English|Deutsch|Español"
)


def _without_comments(text):
    return re.sub(r"(?m)^\s*//.*$|(?<=[\s;{}(),])// .*$", "", text)


def _left(text):
    """Texts of a script that do not pass through ``t`` or ``tn``, templates without what they are filled with."""
    return [found for found in _texts(TOLD.sub("", _without_comments(text))) if found]


def _texts(script):
    """Strings of a script and the pieces of its templates, those within a template's places too."""
    found, stack, at, before = [], [], 0, ""  # the stack: depths of braces at which a template goes on
    depth, piece = 0, None
    while at < len(script):
        ch = script[at]
        if piece is not None:  # within a template
            if ch == "`":
                found.append(piece)
                piece, before = None, ch
            elif script.startswith("${", at):
                stack.append((depth, piece))
                piece, at = None, at + 1
            else:
                piece += ch
        elif ch == '"' and (string := re.compile(TEXT).match(script, at)):
            found.append(string[1])
            at, before = string.end() - 1, ch
        elif ch == "/" and before in "(,=:[!&|?{};" and (end := PATTERN.match(script, at)):
            at, before = end.end() - 1, ch
        elif ch == "`":
            piece = ""
        elif ch == "}" and stack and stack[-1][0] == depth:
            _, piece = stack.pop()
        else:
            depth += {"{": 1, "}": -1}.get(ch, 0)
            before = before if ch.isspace() else ch
        at += 1
    return found


def english_of(text):
    return [one for one in _left(text) if WORDS.search(one) and not NO_WORDS.fullmatch(one.strip())]


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda path: path.name)
def test_no_word_of_a_script_goes_past_the_catalogue(path):
    assert english_of(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize(
    ("script", "left"),
    [
        ('el("p", {}, "Nothing found.")', ["Nothing found."]),
        ('el("p", { class: "row wrap" }, t("Nothing found."))', []),
        ("say(`wash ${n} of ${all}`)", ["wash  of "]),
        ('say(`${t("Note: {note}", entry.log)} ${n > 1 ? `and ${n} more` : ""}`)', ["and  more"]),
        ('x = "Save"; // "Not this"', ["Save"]),
        ('call("/api/batches", "POST")', []),
    ],
)
def test_what_goes_past_it_is_seen(script, left):
    assert english_of(script) == left


def test_every_sentence_that_is_said_is_extracted():
    """The scanner that makes the catalogue sees the same calls as this one, those within templates too."""
    told = page_words("de")
    for path in SCRIPTS:
        for found in TOLD.finditer(_without_comments(path.read_text(encoding="utf-8"))):
            said = (found[1] or found[2]).replace('\\"', '"').replace("\\u00a0", "\u00a0")
            assert said in told or not any(ch.isalpha() for ch in said), (path.name, said)


def test_the_html_says_no_word_of_its_own():
    text = Path(PAGE, "index.html").read_text(encoding="utf-8")
    said = {sentence for _line, sentence in said_in_html(text)}
    bare = {" ".join(one.split()) for one in re.findall(r">([^<>]*[A-Za-z][^<>]*)<", text)} - said
    assert bare == {"CSV", "JSON"}
    labels = set(re.findall(r'(?:aria-label|title|alt|placeholder)="([^"]*)"', text)) - said
    assert labels == set()
