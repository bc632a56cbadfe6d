"""English left in what should be another language: sentences of the catalogue's keys, found as they stand."""

import re
from functools import cache

from tests.catalogues.files import read_po_of

LEAST = 9  # letters of a key, or of a piece of one between its places: shorter ones are words of both languages


@cache
def _keys(language: str) -> tuple[str, ...]:
    """English pieces that the language says in other words, the longest first."""
    catalog = read_po_of(language)
    own = {_plain(piece) for m in catalog for told in _forms(m.string) for piece in _pieces(told)}
    found = {_plain(piece) for m in catalog if m.id for key in _forms(m.id) for piece in _pieces(key)}
    return tuple(sorted(found - own, key=len, reverse=True))


def _forms(text):
    return (text,) if isinstance(text, str) else tuple(text)


def _pieces(text):
    return [piece for piece in re.split(r"\{[^{}]*\}", text) if sum(ch.isalpha() for ch in piece) >= LEAST]


def _plain(text):
    return " ".join(text.replace("\u00a0", " ").split())


def english_in(text: str, language: str) -> list[str]:
    """Pieces of English keys that stand in ``text``, whole words only, none within another."""
    left, found = _plain(text), []
    for key in _keys(language):
        if key in left and re.search(rf"(?<!\w){re.escape(key)}(?!\w)", left):
            found.append(key)
            left = left.replace(key, " ")
    return found
