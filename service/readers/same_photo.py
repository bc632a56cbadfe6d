"""The same photo sent again: with the same details it is the same reading, with others it is a question.

A path length, a wash or a temperature is part of what is read. The first answer would be wrong for the new details.

What is a moment ago goes by numbers of entries and a steady clock, never by the time of day: a bench computer's clock
is put right, back or forward whenever somebody likes.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass

from service.log import store
from stripread.words import N_, _, say

# Of the entries that were there before this process began nobody knows how old they are: at most so many are recent,
# and only until the window is over. A phone that posts again over a restart still gets its first answer.
BEFORE_THE_START = 100


@dataclass(frozen=True)
class Details:
    """What a photo was sent with, apart from its pixels; ``path_mm`` in mm; entries are numbers of the log."""

    wash: int | None
    note: str
    path_mm: float | None
    taking: Mapping[str, object]
    statement: Mapping[str, object]
    blank_entry: int | None
    cells_entry: int | None = None
    vials_changed: bool = False


def details_of(row: store.Row) -> Details:
    """The details that an entry of the log was made with."""
    extras = row["extras"]
    blank, cells = extras.get("blank") or {}, extras.get("cells") or {}
    return Details(
        row["wash"],
        row["note"],
        extras.get("path_mm"),
        extras.get("taking") or {},
        extras.get("said") or {},
        blank.get("entry"),
        cells.get("entry"),
        bool(cells.get("changed")),
    )


_ANSWERS = ("yes", "no", "unknown", "acid", "neutral")  # their words stand in the catalogues for the page already


# What each detail is called where people read it, as on the page.
CALLED = {
    "wash": N_("wash"),
    "note": N_("note"),
    "path_mm": N_("depth, mm"),
    "blank_entry": N_("compared with entry"),
    "cells_entry": N_("vials measured by entry"),
    "vials_changed": N_("vials changed since"),
    "taking wash": N_("liquid"),
    "taking water": N_("water"),
    "taking ammonia_excess": N_("ammonia in excess"),
    "taking ammonia_ph": N_("pH of the drop"),
    "taking flakes": N_("flakes"),
    "taking dilution": N_("dilution"),
    "statement dipped_at": N_("dipped at"),
    "statement temperature_c": N_("temperature, °C"),
    "statement rinse": N_("rinse water"),
    "statement snapped_at": N_("time of the photo"),
    "statement beside": N_("a strip beside it, in"),
}


def differences(row: store.Row, sent: Details) -> list[str]:
    """How the details of an entry and those sent now differ, one phrase each with both; empty if they are the same."""
    before, now = _plain(details_of(row)), _plain(sent)
    return [
        _(
            "{name}: {before} then, {now} now",
            name=say(CALLED[name]) if name in CALLED else name,
            before=_words(before.get(name)),
            now=_words(now.get(name)),
        )
        for name in dict.fromkeys([*before, *now])
        if before.get(name) != now.get(name)
    ]


def _plain(details: Details) -> dict[str, object]:
    """Each detail by its name, those of a group with the group's before it; what was not said is left out."""
    plain: dict[str, object] = {}
    for name, value in asdict(details).items():
        if isinstance(value, Mapping):
            plain |= {f"{name} {part}": one for part, one in value.items()}
        elif value not in (None, "", False):
            plain[name] = value
    return plain


def _words(value: object) -> str:
    if value is None:
        return _("none")
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    return say(value) if isinstance(value, str) and value in _ANSWERS else str(value)


class RecentEntries:
    """Which entries of the log came within the last ``seconds``, as far as this process has seen the log grow.

    An entry that another process added counts from when it was first seen here.

    Parameters
    ----------
    newest
        Number of the log's newest entry at the start.
    clock
        A clock in seconds that is never set.
    """

    def __init__(self, seconds: float, newest: int, clock: Callable[[], float] = time.monotonic) -> None:
        self._seconds = seconds
        self._clock = clock
        self._lock = threading.Lock()
        self._seen: deque[tuple[float, int]] = deque([(clock(), newest)])  # when, and the newest entry then
        self._newest = newest
        self._floor = max(0, newest - BEFORE_THE_START)

    def above(self, newest: int) -> int:
        """Entries with a number above this one are recent, now that the log's newest is ``newest``."""
        with self._lock:
            now = self._clock()
            if newest > self._newest:
                self._seen.append((now, newest))
                self._newest = newest
            while self._seen and now - self._seen[0][0] >= self._seconds:
                self._floor = self._seen.popleft()[1]
            return self._floor
