"""One reminder: what is to be done, from when on, and whether that is now."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Code = Literal["acidify", "settled", "weigh", "time_up", "look_again"]
# Those of a danger first, then what has waited longest.
ORDER: dict[Code, int] = {"acidify": 0, "settled": 1, "weigh": 1, "time_up": 1, "look_again": 1}


@dataclass(frozen=True)
class Reminder:
    """What is to be done, in one sentence, from ``due`` (ISO time) on.

    ``state``: "later" before it is due, "now" since, "late" where waiting on is a danger by itself.
    """

    code: Code
    state: Literal["later", "now", "late"]
    due: str
    sentence: str


def in_order(found: list[Reminder]) -> tuple[Reminder, ...]:
    """Reminders as they are shown."""
    return tuple(sorted(found, key=lambda r: (ORDER[r.code], r.due)))
