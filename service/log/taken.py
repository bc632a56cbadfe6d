"""When an entry's photo was taken: what counts for gates and forecasts, not when a phone's queue got it through.

The log keeps what was told (``snapped_at``, and in the entry's extras who told it) and never changes it. The moment is
worked out from that each time, so that a batch's zone that was set wrong can be set right: a camera that names no zone
is read in the zone of the batch.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any, Literal
from zoneinfo import ZoneInfo

from service.moments import SOURCES, UTC_NAME, Moment, Source, zone_or_utc

Row = dict[str, Any]
Teller = Literal["phone", "file", "upload"]  # whose time it is that comes with a photo

LATE = timedelta(minutes=2)  # a phone's clock is off by so much; what came sooner came at once
EARLY = timedelta(days=1)  # before the batch was opened: a clock that is plainly wrong


def moments(rows: list[Row], opened_at: str, zone: str) -> dict[int, Moment]:
    """Entry -> when its photo was taken and who told it; a correction has its original's."""
    found: dict[int, Moment] = {}
    for row in rows:
        first = found.get(row["corrects_id"]) if row["corrects_id"] is not None else None
        found[row["id"]] = first or moment_of(row, opened_at, zone)
    return found


def taken_times(rows: list[Row], opened_at: str, zone: str = UTC_NAME) -> dict[int, str]:
    """Entry -> when its photo was taken (ISO time in UTC, as the log writes it)."""
    return {number: moment.at for number, moment in moments(rows, opened_at, zone).items()}


def moment_of(row: Row, opened_at: str, zone: str) -> Moment:
    """The moment of one entry that corrects no other, in a batch opened then, with this zone (an IANA name)."""
    snapped, source = _told(row, zone)
    received = row["received_at"]
    try:
        if source == "file" and snapped is not None and snapped < datetime.fromisoformat(opened_at):
            snapped = None  # a file's time is that of the last copy: before the batch it says nothing
        at = taken_at(received, None if snapped is None else snapped.isoformat(), opened_at)
    except (ValueError, TypeError):
        at = received  # the batch's row is damaged
    return Moment(at, zone, "upload" if at == received else source)


def told_time(camera: str | None, said_at: str | None, said_by: Teller, zone: str) -> tuple[str | None, Source | None]:
    """What the log keeps of when a photo was taken: the time with its offset, and who told it.

    ``camera`` is the photo's own time (EXIF, ISO 8601). ``said_at`` is by the ``phone``'s clock, and goes first, or by
    the ``file``'s own or that of its choice (``upload``), and goes last. ``zone`` is the batch's, for a camera that
    names none.
    """
    own = _parsed(camera)
    if said_at is not None and said_by == "phone":
        return said_at, "phone"
    if own is not None:
        zoned = own if own.tzinfo is not None else own.replace(tzinfo=ZoneInfo(zone_or_utc(zone)))
        return zoned.isoformat(), "exif" if own.tzinfo is None else "exif_zone"
    return said_at, None if said_at is None else said_by


def taken_at(received_at: str, snapped_at: str | None, opened_at: str) -> str:
    """The phone's own time where it is plainly earlier than the photo's arrival, else the arrival."""
    received, opened = datetime.fromisoformat(received_at), datetime.fromisoformat(opened_at)
    snapped = _parsed(snapped_at)
    if snapped is None or snapped.tzinfo is None or received.tzinfo is None:
        return received_at
    if not opened - EARLY <= snapped <= received - LATE:
        return received_at
    return snapped.astimezone(UTC).isoformat(timespec="microseconds")


def _told(row: Row, zone: str) -> tuple[datetime | None, Source]:
    """What was told of when an entry's photo was taken, and by whom; an older log does not say who."""
    snapped = _parsed(row.get("snapped_at"))
    if snapped is None:
        return None, "upload"
    source = (row.get("extras") or {}).get("snapped_from")
    if not isinstance(source, str) or source not in SOURCES:
        source = _by_older_log(snapped, _parsed((row.get("reading") or {}).get("taken_at")))
    if source == "exif":
        snapped = snapped.replace(tzinfo=ZoneInfo(zone_or_utc(zone)))
    return snapped, source


def _by_older_log(snapped: datetime, camera: datetime | None) -> Source:
    """Who told a time of which the log does not say it: the camera, where its own time is the same; else the phone."""
    if camera is None or snapped.tzinfo is None or snapped.microsecond:  # the page tells thousandths
        return "phone"
    if camera.tzinfo is not None:
        return "exif_zone" if camera == snapped else "phone"
    return "exif" if camera == snapped.replace(tzinfo=None) else "phone"


def _parsed(text: object) -> datetime | None:
    try:
        return datetime.fromisoformat(text) if isinstance(text, str) else None
    except ValueError:
        return None
