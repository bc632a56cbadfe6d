"""The page's own words in a language, for ``/words/de.json``: what its scripts ask for, from the one catalogue."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from stripread.words.say import catalogue

PAGE = Path(__file__).resolve().parents[1] / "page"
KEYWORDS = {"t": None, "tn": (1, 2)}  # of the page's scripts: a sentence, and a singular with its plural
_UNSPOKEN = ("uplot.js", "sw.js")


@cache
def page_words(language: str) -> dict[str, str | dict[str, str]]:
    """Sentence to sentence; of one with a plural its forms by the names that ``Intl.PluralRules`` gives them."""
    from babel.messages.extract import extract_from_file  # noqa: PLC0415 - once in a language's life

    told: dict[str, str | dict[str, str]] = {}
    words = catalogue(language)
    for path in sorted(PAGE.glob("*.js")):
        if path.name in _UNSPOKEN:
            continue
        for _line, message, _comments, _context in extract_from_file("javascript", path, KEYWORDS):
            if isinstance(message, str):
                told[message] = words.gettext(message)
            else:
                one, many = message[:2]
                told[one] = {form: words.ngettext(one, many, n) for form, n in (("one", 1), ("other", 2))}
    return told
