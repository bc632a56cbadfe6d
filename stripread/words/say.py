"""Saying a sentence in the language spoken now, from the compiled catalogues beside this file.

The compiled ``.mo`` are part of the source: a plain install, an editable one and a bare checkout read the same file
with the standard library alone, nothing is built or written on the way. A test compiles the ``.po`` and compares.
"""

from __future__ import annotations

from functools import cache
from gettext import GNUTranslations
from pathlib import Path
from typing import Any

from stripread.words.language import SOURCE, spoken
from stripread.words.numbers import Filling

FOLDER = Path(__file__).parent / "locale"
DOMAIN = "stripread"


@cache
def catalogue(language: str) -> GNUTranslations:
    """The compiled catalogue of a language other than English, read once."""
    with (FOLDER / language / "LC_MESSAGES" / f"{DOMAIN}.mo").open("rb") as file:
        return GNUTranslations(file)


def _(sentence: str, /, **fields: Any) -> str:  # noqa: ANN401 - what str.format takes
    """``sentence`` in the language spoken now, its ``{named}`` places filled with ``fields``.

    Without fields nothing is filled, and braces stay. A sentence without a translation is said in English.
    """
    language = spoken()
    text = sentence
    if language != SOURCE and sentence:  # the key "" is the catalogue's own head
        text = catalogue(language).gettext(sentence)
    return Filling(language).vformat(text, (), fields) if fields else text


def N_(sentence: str, /) -> str:  # noqa: N802 - the name that extractors of catalogues know
    """Mark a sentence that is said later, by ``say``: it goes into the catalogues and is returned as it stands."""
    return sentence


def _n(one: str, many: str, n: int, /, **fields: Any) -> str:  # noqa: ANN401 - what str.format takes
    """``one`` or ``many`` by the rule of the language for ``n``, which fills the place ``{n}``."""
    language = spoken()
    english = one if n == 1 else many
    text = english if language == SOURCE else catalogue(language).ngettext(one, many, n)
    return Filling(language).vformat(text, (), {"n": n, **fields})


def say(sentence: str, /) -> str:
    """A sentence marked elsewhere (``N_``, a table, a file of the package) in the language spoken now."""
    return _(sentence)
