"""The same photo sent again: with the same details it is the same reading, with others it is a question.

A path length, a wash or a temperature is part of what is read. The first answer would be wrong for the new details.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass

from service.log import store


@dataclass(frozen=True)
class Details:
    """What a photo was sent with, apart from its pixels; ``path_mm`` in mm, ``blank_entry`` a number of the log."""

    wash: int | None
    note: str
    path_mm: float | None
    taking: Mapping[str, object]
    statement: Mapping[str, object]
    blank_entry: int | None


def details_of(row: store.Row) -> Details:
    """The details that an entry of the log was made with."""
    extras = row["extras"]
    blank = extras.get("blank") or {}
    return Details(
        row["wash"],
        row["note"],
        extras.get("path_mm"),
        extras.get("taking") or {},
        extras.get("said") or {},
        blank.get("entry"),
    )


def differences(row: store.Row, sent: Details) -> list[str]:
    """How the details of an entry and those sent now differ, one phrase each with both; empty if they are the same."""
    before, now = _plain(details_of(row)), _plain(sent)
    return [
        f"{name.replace('_', ' ')}: {_words(before[name])} then, {_words(now[name])} now"
        for name in before
        if before[name] != now[name]
    ]


def _plain(details: Details) -> dict[str, object]:
    plain: dict[str, object] = json.loads(json.dumps(asdict(details)))  # as the log keeps it: tuples are lists
    return plain


def _words(value: object) -> str:
    return "none" if value in (None, "", {}) else json.dumps(value, ensure_ascii=False)
