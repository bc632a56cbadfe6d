"""One notion of time: a moment, the zone in which it is shown, and who told it.

Moments are kept in UTC (ISO 8601) and shown in the zone of their batch, always with the offset from UTC, so that a time
names one moment wherever it is read. Zones are IANA names, by the database that ``zoneinfo`` reads.
"""

from __future__ import annotations

import os
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Literal
from zoneinfo import ZoneInfo, available_timezones

from stripread.errors import CallError
from stripread.words import N_, _, number, say
from stripread.words.dates import day_and_time

Source = Literal["exif_zone", "exif", "phone", "file", "upload"]
# Who told when a photo was taken, in words that follow the time.
SOURCES: dict[Source, str] = {
    "exif_zone": N_("by the camera, with its zone"),
    "exif": N_("by the camera, which names no zone"),
    "phone": N_("by the phone's clock"),
    "file": N_("by the file's own time"),
    "upload": N_("by its arrival"),
}
UTC_NAME = "UTC"


@dataclass(frozen=True)
class Moment:
    """When a photo was taken: ``at`` in UTC (ISO 8601), the batch's ``zone``, and who told it."""

    at: str
    zone: str
    source: Source

    @property
    def local(self) -> str:
        """ISO 8601 in the batch's zone, with its offset."""
        return in_zone(self.at, self.zone)

    @property
    def text(self) -> str:
        """As a person reads it, to the minute, with the offset."""
        return spoken(self.local)

    @property
    def told(self) -> str:
        """Who told it, in words."""
        return say(SOURCES[self.source])


@cache
def _known() -> frozenset[str]:
    return frozenset(available_timezones())


def checked_zone(name: str) -> str:
    """The name of a zone, if there is such a zone.

    Raises
    ------
    CallError
        If there is none.
    """
    if name.strip() not in _known():
        raise CallError(_("no such zone: {name!r}; give its IANA name, such as Europe/Lisbon or UTC", name=name[:60]))
    return name.strip()


def zone_or_utc(name: object) -> str:
    """The zone of this name; UTC where a log names one that is unknown here."""
    return name if isinstance(name, str) and name in _known() else UTC_NAME


def server_zone() -> str:
    """This computer's zone: of the variable TZ, else as its system has it, else UTC."""
    places = [os.environ.get("TZ", "").removeprefix(":")]
    link = os.path.realpath("/etc/localtime")
    places.append(link.partition("zoneinfo/")[2])
    with suppress(OSError, UnicodeDecodeError):
        places.append(Path("/etc/timezone").read_text(encoding="utf-8").strip())
    found = next((place for place in places if place in _known()), UTC_NAME)
    return UTC_NAME if found == "Etc/UTC" else found


def file_time(path: Path) -> str | None:
    """When a file was last changed, as its system has it (ISO 8601 in UTC); None where it can't be told."""
    try:
        return datetime.fromtimestamp(path.stat().st_mtime, UTC).isoformat()
    except (OSError, OverflowError, ValueError):
        return None


def hours_between(first: str, second: str) -> float:
    """Hours from one ISO time to another, below 0 where the second was before; without a zone both count as UTC."""
    a, b = (datetime.fromisoformat(text) for text in (first, second))
    a, b = (at.replace(tzinfo=UTC) if at.tzinfo is None else at for at in (a, b))
    return (b - a).total_seconds() / 3600.0


def hours_words(hours: float) -> str:
    """So many hours for people: minutes below one, figures that a clock can show."""
    if hours < 1.0:
        return _("{minutes} min", minutes=round(60.0 * hours))
    return _("{hours} h", hours=number(hours, ".2g" if hours < 10.0 else ".0f"))


def later(text: str, hours: float) -> str:
    """The ISO time so many hours after another, in the same zone."""
    return (datetime.fromisoformat(text) + timedelta(hours=hours)).isoformat()


def in_zone(text: str, zone: str) -> str:
    """An ISO time with its offset as the same moment in a zone; what is no such time stays as it is."""
    try:
        at = datetime.fromisoformat(text)
        return text if at.tzinfo is None else at.astimezone(ZoneInfo(zone_or_utc(zone))).isoformat()
    except (ValueError, OverflowError):
        return text


def spoken(text: str) -> str:
    """An ISO time as a person reads it, to the minute, with its offset where it has one."""
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        return text
    return day_and_time(at) + ("" if at.tzinfo is None else f" {offset_of(at)}")


def offset_of(at: datetime) -> str:
    """The offset from UTC of a time that has one: +05:30."""
    return at.isoformat()[-6:]


def zone_words(zone: str, *texts: str | None) -> str:
    """A zone by its name, with the offsets that it has at these ISO times: "America/Chicago (UTC-05:00)"."""
    offsets = dict.fromkeys(in_zone(text, zone)[-6:] for text in texts if text)
    found = ", ".join(f"UTC{offset}" for offset in offsets)
    return f"{zone} ({found})" if found and zone != UTC_NAME else zone
