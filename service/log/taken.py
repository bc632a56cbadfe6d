"""When an entry's photo was taken: what counts for gates and forecasts, not when a phone's queue got it through."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from service.log.store import Row

LATE = timedelta(minutes=2)  # a phone's clock is off by so much; what came sooner came at once
EARLY = timedelta(days=1)  # before the batch was opened: a clock that is plainly wrong


def taken_times(rows: list[Row], opened_at: str) -> dict[int, str]:
    """Entry -> when its photo was taken (ISO time in UTC, as the log writes it); a correction has its original's."""
    found: dict[int, str] = {}
    for row in rows:
        first = found.get(row["corrects_id"]) if row["corrects_id"] is not None else None
        found[row["id"]] = first or taken_at(row["received_at"], row.get("snapped_at"), opened_at)
    return found


def by_own_clock(taken_at: str | None) -> str | None:
    """A photo's own time (EXIF, ISO 8601) with its zone: this computer's, where the camera wrote down none."""
    try:
        return None if taken_at is None else datetime.fromisoformat(taken_at).astimezone().isoformat()
    except (ValueError, OverflowError):
        return None


def taken_at(received_at: str, snapped_at: str | None, opened_at: str) -> str:
    """The phone's own time where it is plainly earlier than the photo's arrival, else the arrival."""
    received, opened = datetime.fromisoformat(received_at), datetime.fromisoformat(opened_at)
    try:
        snapped = datetime.fromisoformat(snapped_at or "")
    except ValueError:
        return received_at
    if snapped.tzinfo is None or received.tzinfo is None:
        return received_at
    if not opened - EARLY <= snapped <= received - LATE:
        return received_at
    return snapped.astimezone(UTC).isoformat(timespec="microseconds")
