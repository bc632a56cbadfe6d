"""A series of readings of one solid: has the pale share stopped falling?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from stripread.tuned import tuned
from stripread.words import _

Reading = tuple[float | None, tuple[float, float] | None]

_TUNED = tuned("stripread.solid")
FLAT = _TUNED.number("flat")
FLOOR = _TUNED.number("pale_floor")


@dataclass(frozen=True)
class SeriesVerdict:
    """stopped: True, False, or None when it can't be told. since: index of the first reading of the level stretch."""

    stopped: bool | None
    since: int | None
    message: str

    def to_dict(self) -> dict[str, Any]:
        """As JSON."""
        return {"stopped": self.stopped, "since": self.since, "message": self.message}


def settled(readings: Sequence[Reading]) -> SeriesVerdict:
    """Whether the last readings are level, from the readings in time order; refused ones are left out.

    The last two steps must each be smaller than their own doubt (95 % of the difference of two readings) or smaller
    than a fifth of the value, and their sum must not be a clear fall.
    """
    used = [(n, p, i) for n, (p, i) in enumerate(readings) if p is not None and i is not None]
    if len(used) < 3:
        return SeriesVerdict(None, None, _("Too few readings to tell: take at least three, some minutes apart."))
    value = np.array([p for _, p, _ in used])
    sd = np.array([max((high - low) / 3.92, FLOOR / 2) for _, _, (low, high) in used])
    level = len(used) - 1
    while level > 0:
        fall = value[level - 1] - value[-1]
        doubt = 1.96 * np.hypot(sd[level - 1], sd[-1])
        if fall > max(FLAT * value[level - 1], FLOOR) and fall > doubt:
            break
        level -= 1
    since = used[level][0]
    if len(used) - level < 3:
        return SeriesVerdict(
            False,
            None,
            _("The pale share still falls: {value_0:.3f} to {last_value:.3f}.", value_0=value[0], last_value=value[-1]),
        )
    doubt = 1.96 * sd[-1]
    if value[-1] > FLOOR and doubt > value[-1]:
        words = _("No fall can be seen since photo {since}, but the doubt is as large as the share.", since=since + 1)
        return SeriesVerdict(None, since, words)
    words = _(
        "The pale share has stopped falling since photo {since}, at {last_value:.3f}.",
        since=since + 1,
        last_value=value[-1],
    )
    return SeriesVerdict(True, since, words)
