"""The one table of states as a person sees them: code to word, sign and colour, from ``state_words.toml``.

Whatever shows a state takes it from here: command line, page, pictures, gates, report. The codes are those of the JSON
and of the gates; the words are whole strings, so that they can be translated as they stand.
"""

from __future__ import annotations

import sys
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Literal, get_args

from stripread.words import say

Kind = Literal[
    "reading",
    "gate",
    "forecast",
    "reason",
    "entry",
    "notice",
    "part",
    "print",
    "check",
    "grade",
    "step",
    "profile",
    "control",
    "counted",
]
KINDS: tuple[Kind, ...] = get_args(Kind)
Theme = Literal["light", "dark"]


@dataclass(frozen=True)
class Tone:
    """A colour as sRGB ``#rrggbb``: for words on a light ground, and on a dark one."""

    name: str
    light: str
    dark: str


@dataclass(frozen=True)
class StateWord:
    """A state as it is shown: a plain word, a sign that tells it by shape, and the tone of both.

    ``english`` is the word as the table has it; ``word`` is said in the language spoken now.
    """

    english: str
    sign: str
    tone: Tone

    @property
    def word(self) -> str:
        """The word in the language spoken now."""
        return say(self.english)

    @property
    def text(self) -> str:
        """Sign and word."""
        return f"{self.sign} {self.word}"

    @property
    def heading(self) -> str:
        """The word as a heading begins."""
        return self.word[:1].upper() + self.word[1:]

    @property
    def printed(self) -> str:
        """Sign and word for the terminal; the word alone where what is printed to has no such sign."""
        try:
            self.sign.encode(sys.stdout.encoding or "ascii")
        except (UnicodeEncodeError, LookupError):
            return self.word
        return self.text


@dataclass(frozen=True)
class Table:
    """All states by kind and code, the tones by name, and the grounds and inks (``#rrggbb``) of each theme."""

    states: Mapping[str, Mapping[str, StateWord]]
    tones: Mapping[str, Tone]
    themes: Mapping[str, Mapping[str, str]]


@cache
def table() -> Table:
    """The table as the file has it."""
    text = resources.files("stripread.states").joinpath("state_words.toml").read_text(encoding="utf-8")
    raw = tomllib.loads(text)
    tones = {name: Tone(name, **colours) for name, colours in raw["tone"].items()}
    states: dict[str, Mapping[str, StateWord]] = {
        kind: {code: StateWord(one["word"], one["sign"], tones[one["tone"]]) for code, one in raw[kind].items()}
        for kind in KINDS
    }
    return Table(states, tones, raw["theme"])


def state(kind: Kind, code: str) -> StateWord:
    """One state as it is shown.

    Raises
    ------
    KeyError
        For a code that the table does not have.
    """
    return table().states[kind][code]


def mark(status: str) -> str:
    """A reading's state (ok, doubtful, refused) as it is printed in a terminal."""
    return state("reading", status).printed


def paper(theme: Theme = "light") -> str:
    """The ground of pictures, ``#rrggbb``."""
    return table().themes[theme]["paper"]
