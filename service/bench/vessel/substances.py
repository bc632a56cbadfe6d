"""What the words on a workshop's bottles mean, as the kinds that decide what may be poured together.

A word that is not known carries a question, and is never passed: ``named`` is for lists of contents, ``mentioned``
looks for known words in free text, where others are no reason to ask.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from functools import cache, lru_cache
from importlib.resources import files

from stripread.words import _


class Kind(StrEnum):
    """What a substance brings into a vessel."""

    ACID = "acid"
    LYE = "lye"
    AMMONIA = "ammonia"
    CHLORIDE = "chloride"
    NITRATE = "nitrate"
    CARBONATE = "carbonate"
    CITRATE = "citrate"
    SUGAR = "sugar"
    SOLVENT = "solvent"
    BLEACH = "bleach"
    PEROXIDE = "peroxide"
    OXIDISER = "oxidiser"
    CYANIDE = "cyanide"
    SULFIDE = "sulfide"
    SULFITE = "sulfite"
    AZIDE = "azide"
    SILVER = "silver"
    COPPER = "copper"
    METAL = "metal"
    POWDER = "powder"
    ACTIVE_POWDER = "active powder"  # zinc, iron, aluminium: hydrogen in acid
    AMPHOTERIC_POWDER = "amphoteric powder"  # zinc, aluminium: hydrogen in lye too


class UnknownContents(ValueError):  # noqa: N818 - a question to the person, not a fault
    """A word in the contents that nobody knows: its message asks what it is."""


@dataclass(frozen=True)
class Named:
    """One substance named: the words it was named by, its kinds, mol/L where that was given with it.

    ``question`` asks what it is, where nobody knows the word; then it has no kinds.
    """

    words: str
    kinds: frozenset[Kind]
    mol_l: float | None = None
    question: str | None = None


@cache
def _by_word() -> dict[str, frozenset[Kind]]:
    text = (files("service.bench") / "data" / "substances.toml").read_text(encoding="utf-8")
    return {
        word: frozenset(Kind(k) for k in entry["kinds"])
        for entry in tomllib.loads(text)["substance"]
        for word in entry["words"]
    }


_STRENGTH = re.compile(r"^(?P<words>.*?)\s*(?:,|at|of)?\s*(?P<number>\d+(?:[.,]\d+)?)\s*(?:mol/l|mol per l|molar|m)$")
_FREE_OF = re.compile(
    r"\b(?:no|without|free of|free from|not|kein|keine|keinen|ohne|frei von|sin|libre de)\s+(?:any\s+)?$"
)


def named(contents: Iterable[str]) -> tuple[Named, ...]:
    """Each of the contents, which may carry its strength: "bleach", "ammonia 0.1 mol/L"."""
    return tuple(_one(text) for text in contents if text.strip())


def _one(text: str) -> Named:
    clean = re.sub(r"\s+", " ", text.strip().lower())
    strength = _STRENGTH.match(clean)
    words, mol_l = clean, None
    if strength is not None and strength["words"]:
        words, mol_l = strength["words"], float(strength["number"].replace(",", "."))
    words = re.sub(r"^(?:some|a little|dilute|diluted|spent|used|old|hot|cold|strong|weak)\s+", "", words)
    known = _by_word()
    for guess in (words, words.removesuffix("s")):
        if guess in known:
            return Named(words, known[guess], mol_l)
    close = difflib.get_close_matches(words, known, n=3, cutoff=0.6)
    hint = _(" Did you mean {close}?", close=", ".join(close)) if close else ""
    question = _(
        "what is {text!r}?{hint} Name it by what it does: acid, lye, ammonia, bleach, peroxide, "
        "nitrate, sugar, cyanide, sulfide, salt, or a metal; an unknown thing is not poured to the "
        "others.",
        text=text.strip()[:60],
        hint=hint,
    )
    return Named(words, frozenset(), mol_l, question)


@lru_cache(maxsize=512)
def mentioned(text: str) -> tuple[Named, ...]:
    """Known substances that free text speaks of ("vials of the ammonia test"); "no …" is heeded."""
    left = " " + re.sub(r"[^\w'/ -]+", " ", text.lower()) + " "
    found = []
    for word in sorted(_by_word(), key=len, reverse=True):
        pattern = re.compile(rf"(?<![\w-]){re.escape(word)}s?(?![\w-]|-free)")
        match = pattern.search(left)
        if match is None:
            continue
        if not _FREE_OF.search(left[: match.start()]) and not left[match.end() :].startswith((" free", "-free")):
            found.append(Named(word, _by_word()[word]))
        left = pattern.sub(" ", left)
    return tuple(found)
