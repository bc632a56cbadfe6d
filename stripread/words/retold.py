"""Sentences that were kept in English, told in the language spoken now.

A log keeps readings with their sentences in English, whoever sent the photo: it may be read in any language later, on
this version or another. A sentence is looked up as it stands, or by the English sentence whose places it fills; what it
holds in them is told in turn. What is not known stays as it was.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from string import Formatter
from typing import Any

from stripread.words.language import SOURCE, spoken
from stripread.words.numbers import local
from stripread.words.say import DOMAIN, FOLDER, catalogue

EMPTY = " ({detail})"  # what a reason without detail leaves out
LEAST_LETTERS = 5  # of a sentence around places that may hold any text; "{a}: {b}" would fit anything
MOST_DEEP = 4
_NUMBER = re.compile(r"[+-]?[0-9][0-9,]*(?:\.[0-9]+)?(?:[eE][+-]?[0-9]+)?%?|nan|inf")
_PLAIN = re.compile(r"[+-]?[0-9]+\.[0-9]+(?:[eE][+-]?[0-9]+)?%?")
_ENDS = re.compile(r"(?<=[.!?:;]) ")


@dataclass(frozen=True)
class _Template:
    """An English sentence with places: its texts around them, one more than there are ``names``.

    ``told`` is the sentence in the language; ``numbers`` are places that hold a number.
    """

    told: str
    texts: tuple[str, ...]
    names: tuple[str, ...]
    numbers: frozenset[str]

    def held_in(self, text: str) -> dict[str, str] | None:
        """What ``text`` holds in the places, each as little as can be; None where it is another sentence."""
        first, last = self.texts[0], self.texts[-1]
        if not text.startswith(first) or not text.endswith(last) or len(text) < len(first) + len(last):
            return None
        at, end, found = len(first), len(text) - len(last), dict[str, str]()
        for name, after in zip(self.names, (*self.texts[1:-1], None), strict=True):
            stop = end if after is None else text.find(after, at + 1, end)
            if stop <= at or found.setdefault(name, text[at:stop]) != text[at:stop]:
                return None
            if name in self.numbers and not _NUMBER.fullmatch(text[at:stop]):
                return None
            at = stop if after is None else stop + len(after)
        return found


def retold(text: str) -> str:
    """``text``, made in English, in the language spoken now."""
    language = spoken()
    return text if language == SOURCE or not text else _retold(text, language, 0)


def retold_reasons(reasons: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Reasons of a kept reading with their messages in the language spoken now; code and severity stay."""
    if spoken() == SOURCE:
        return reasons
    return [{**reason, "message": retold(reason["message"])} for reason in reasons]


def retold_reading(reading: Mapping[str, Any]) -> dict[str, Any]:
    """A kept reading's JSON with its sentences in the language spoken now, those of its strips and parts too."""
    told = dict(reading)
    if spoken() == SOURCE:
        return told
    for name, value in reading.items():
        if name == "reasons" and isinstance(value, list):
            told[name] = retold_reasons(value)
        elif name in {"strips", "parts"} and isinstance(value, list):
            told[name] = [retold_reading(part) if isinstance(part, dict) else part for part in value]
        elif name == "claim" and isinstance(value, str):
            told[name] = retold(value)
        elif name == "descriptions" and isinstance(value, list):
            told[name] = [retold(part) if isinstance(part, str) else part for part in value]
    return told


@lru_cache(maxsize=4096)
def _retold(text: str, language: str, depth: int) -> str:
    known = catalogue(language).gettext(text)
    if known != text or depth > MOST_DEEP:
        return known
    if _PLAIN.fullmatch(text):
        return local(text, language)
    if text in _bare(language):
        return _bare(language)[text]
    for template in _templates(language):
        held = template.held_in(text)
        if held is not None:
            return _filled(template, held, language, depth)
    pieces = _ENDS.split(text)
    return " ".join(_retold(piece, language, depth + 1) for piece in pieces) if len(pieces) > 1 else text


def _filled(template: _Template, held: dict[str, str], language: str, depth: int) -> str:
    out = []
    for literal, name, _spec, _conversion in Formatter().parse(template.told):
        out.append(literal)
        if name is not None:
            text = held[name]
            out.append(local(text, language) if name in template.numbers else _retold(text, language, depth + 1))
    return "".join(out)


@cache
def _bare(language: str) -> dict[str, str]:
    """Sentences as they are without their detail."""
    with_detail = [template for template in _templates(language) if EMPTY in template.told]
    return {"".join(t.texts).replace(" ()", ""): t.told.replace(EMPTY, "") for t in with_detail}


@cache
def _templates(language: str) -> tuple[_Template, ...]:
    """The sentences with places, those with most letters around them first."""
    from babel.messages.mofile import read_mo  # noqa: PLC0415 - only where something kept is told again

    with (FOLDER / language / "LC_MESSAGES" / f"{DOMAIN}.mo").open("rb") as file:
        pairs = [(m.id, m.string) for m in read_mo(file)]
    found: list[_Template] = []
    for sentence, told in pairs:
        forms = (sentence,) if isinstance(sentence, str) else sentence  # or a singular and a plural
        its = (told,) if isinstance(told, str) else told or ()
        found += [template for one, other in zip(forms, its, strict=False) for template in _of(one, other)]
    return tuple(sorted(found, key=lambda template: -sum(map(len, template.texts))))


def _of(sentence: str, told: str) -> Iterator[_Template]:
    """A sentence as a template; none of one without places, or with letters too few."""
    try:
        parts = list(Formatter().parse(sentence))
    except ValueError:  # a brace that is no place
        return
    places = [(name, spec) for _literal, name, spec, _conversion in parts if name is not None]
    if not places or not all(name.isidentifier() for name, _spec in places):
        return
    texts = [literal for literal, *_rest in parts]
    texts += [""] * (len(places) + 1 - len(texts))
    letters = sum(ch.isalpha() for ch in "".join(texts))
    if letters >= LEAST_LETTERS or (letters and all(spec for _name, spec in places)):
        names, numbers = tuple(name for name, _spec in places), frozenset(name for name, spec in places if spec)
        yield _Template(told, tuple(texts), names, numbers)
