"""Which entries of a batch stand: corrected and withdrawn ones do not, and what waits for an answer does not count."""

from __future__ import annotations

from service.log.store import Row


def corrected(rows: list[Row]) -> dict[int, int]:
    """Old entry -> the newest entry that corrects it, within these rows."""
    return {row["corrects_id"]: row["id"] for row in rows if row["corrects_id"] is not None}


def in_force(rows: list[Row]) -> list[Row]:
    """The entries that stand: not corrected by a later one, and not withdrawn; unanswered ones too."""
    old = corrected(rows)
    return [row for row in rows if row["id"] not in old and not row["extras"].get("withdrawn")]


def counting(rows: list[Row]) -> list[Row]:
    """The entries in force that wait for no answer: gates, forecast and course rest on these alone."""
    return [row for row in in_force(rows) if not row["extras"].get("asked")]
