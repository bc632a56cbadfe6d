"""Reminders in the terminal: whether it is time, when it is, and what is to be done."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from stripread.words import N_, say

if TYPE_CHECKING:  # it loads the bench
    from service.bench.reminding.reminder import Reminder

_MARK = {"later": N_("later"), "now": N_("now"), "late": N_("LATE")}


def reminder_lines(reminders: Sequence[Reminder], zone: str) -> list[str]:
    """One line each, with the time in the batch's zone."""
    from service.moments import in_zone, spoken

    return [f"* {say(_MARK[one.state])}, {spoken(in_zone(one.due, zone))}: {one.sentence}" for one in reminders]
