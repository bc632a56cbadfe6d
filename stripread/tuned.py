"""Numbers that were chosen, not derived: those of a stage stand in the ``tuned.toml`` beside its code.

Each entry has ``value``, ``unit``, ``why`` it is there, ``source`` (rendered photos, from memory, or a citation) and
the ``command`` that chooses it anew, empty where there is none. Numbers of physics and of the card's layout stay in
the code.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources

Value = float | tuple[float, ...]


@dataclass(frozen=True)
class TunedNumber:
    """One number, or several that belong together, in ``unit``."""

    value: Value
    unit: str
    why: str
    source: str
    command: str


@dataclass(frozen=True)
class TunedNumbers:
    """The numbers of one package. Each reader raises ``KeyError`` for a name that is not there."""

    package: str
    entries: Mapping[str, TunedNumber]

    def number(self, name: str) -> float:
        """A single number.

        Raises
        ------
        TypeError
            If the entry holds several.
        """
        value = self.entries[name].value
        if isinstance(value, tuple):
            raise TypeError(f"{self.package}: {name} holds several numbers")
        return value

    def count(self, name: str) -> int:
        """A single whole number.

        Raises
        ------
        ValueError
            If it is none.
        """
        value = self.number(name)
        if value != int(value):
            raise ValueError(f"{self.package}: {name} is no whole number")
        return int(value)

    def numbers(self, name: str) -> tuple[float, ...]:
        """Several numbers.

        Raises
        ------
        TypeError
            If the entry holds one.
        """
        value = self.entries[name].value
        if not isinstance(value, tuple):
            raise TypeError(f"{self.package}: {name} holds one number")
        return value

    def pair(self, name: str) -> tuple[float, float]:
        """Two numbers.

        Raises
        ------
        ValueError
            If there are not two.
        """
        first, second = self.numbers(name)
        return first, second


@cache
def tuned(package: str) -> TunedNumbers:
    """The numbers of a package, as ``tuned(__package__)`` or by its dotted name.

    Raises
    ------
    FileNotFoundError, TypeError
        If the package has no such file, or an entry lacks a field or has one too many.
    """
    text = resources.files(package).joinpath("tuned.toml").read_text("utf-8")
    entries = {}
    for name, entry in tomllib.loads(text).items():
        value = entry.pop("value")
        entries[name] = TunedNumber(value=tuple(map(float, value)) if isinstance(value, list) else value, **entry)
    return TunedNumbers(package, entries)
