"""Which language somebody wants: by the environment of a call, by the header of a request, by name."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from stripread.words.language import LANGUAGES, SOURCE

# In the order in which gettext looks at them; the first that says anything counts.
VARIABLES = ("LANGUAGE", "LC_ALL", "LC_MESSAGES", "LANG")
LONGEST_HEADER = 1000  # characters of an Accept-Language that are looked at
_RANGE = re.compile(r"\s*([A-Za-z]{1,8}(?:-[A-Za-z0-9]{1,8})*|\*)\s*(?:;\s*q\s*=\s*([01](?:\.[0-9]{0,3})?))?\s*")


def by_name(name: str) -> str | None:
    """The language of a name such as ``de``, ``de_AT.UTF-8`` or ``es-MX``; None where there is no catalogue for it."""
    first = re.split(r"[-_.@]", name.strip().lower(), maxsplit=1)[0]
    return first if first in LANGUAGES else None


def from_environment(environment: Mapping[str, str]) -> str:
    """The language that LANGUAGE, LC_ALL, LC_MESSAGES or LANG ask for; English where it is none that is spoken here."""
    said = next((environment[name] for name in VARIABLES if environment.get(name)), "")
    return _first(said.split(":")) or SOURCE


def from_header(accept_language: str) -> str | None:
    """The language that an Accept-Language header (RFC 9110, section 12.5.4) likes best; None where it names none."""
    wanted: list[tuple[float, int, str]] = []
    for place, part in enumerate(accept_language[:LONGEST_HEADER].split(",")):
        found = _RANGE.fullmatch(part)
        if found is None:
            continue
        weight = float(found[2] or 1.0)
        if 0.0 < weight <= 1.0:
            wanted.append((-weight, place, SOURCE if found[1] == "*" else found[1]))
    return _first(name for *_rank, name in sorted(wanted))


def _first(names: Iterable[str]) -> str | None:
    return next((found for found in map(by_name, names) if found is not None), None)
