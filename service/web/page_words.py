"""The page's own words in a language, for ``/words/de.json``: what its scripts and its HTML say, from the catalogue."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from typing import IO, Any

from stripread.states.table import table
from stripread.words.say import catalogue

PAGE = Path(__file__).resolve().parents[1] / "page"
KEYWORDS = {"t": None, "tn": (1, 2)}  # of the page's scripts: a sentence, and a singular with its plural
OPTIONS = {"parse_template_string": True}  # what is said within `…${t("…")}…`, too
_UNSPOKEN = ("uplot.js", "sw.js")


@cache
def page_words(language: str) -> dict[str, str | dict[str, str]]:
    """Sentence to sentence; of one with a plural its forms by the names that ``Intl.PluralRules`` gives them."""
    from babel.messages.extract import extract_from_file  # noqa: PLC0415 - once in a language's life

    words = catalogue(language)
    states = (one.english for codes in table().states.values() for one in codes.values())
    told: dict[str, str | dict[str, str]] = {text: words.gettext(text) for text in states}
    html = (PAGE / "index.html").read_text(encoding="utf-8")
    told |= {text: words.gettext(text) for _line, text in said_in_html(html)}
    for path in sorted(PAGE.glob("*.js")):
        if path.name in _UNSPOKEN:
            continue
        for _line, message, _comments, _context in extract_from_file("javascript", path, KEYWORDS, options=OPTIONS):
            if isinstance(message, str):
                told[message] = words.gettext(message)
            else:
                one, many = message[:2]
                told[one] = {form: words.ngettext(one, many, n) for form, n in (("one", 1), ("other", 2))}
    return told


def said_in_html(text: str) -> list[tuple[int, str]]:
    """What ``words.js`` translates in HTML, with its line: elements with ``data-t``, attributes in ``data-t-at``."""
    parser = _Told()
    parser.feed(text)
    parser.close()
    return parser.found


def of_html(
    fileobj: IO[bytes], keywords: Collection[str], comment_tags: Collection[str], options: dict[str, Any]
) -> Iterator[tuple[int, str, str, list[str]]]:
    """The same as Babel asks for it."""
    for line, sentence in said_in_html(fileobj.read().decode("utf-8")):
        yield line, "t", sentence, []


class _Told(HTMLParser):
    """Collects sentences, white space in them as the page's script has it.

    An element with ``data-t`` holds text alone: the script puts text in its place.
    """

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[int, str]] = []
        self._open: str | None = None
        self._line, self._text = 0, ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if self._open is not None:
            raise ValueError(f"index.html, line {self.getpos()[0]}: <{tag}> within an element with data-t")
        said = dict(attrs)
        for name in (said.get("data-t-at") or "").split():
            self.found.append((self.getpos()[0], said[name] or ""))
        if "data-t" in said:
            self._open, self._line, self._text = tag, self.getpos()[0], ""

    def handle_data(self, data: str) -> None:
        if self._open is not None:
            self._text += data

    def handle_endtag(self, tag: str) -> None:
        if self._open == tag:
            self.found.append((self._line, " ".join(self._text.split())))
            self._open = None
