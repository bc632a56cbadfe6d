"""Times as people of a language write them, by Babel's tables; JSON and CSV keep ISO 8601."""

from __future__ import annotations

from datetime import datetime

from stripread.words.language import SOURCE, spoken


def day_and_time(at: datetime) -> str:
    """A day in numbers and the time of day, in the zone that ``at`` is in: "2026-11-27 14:05", "27.11.2026 14:05"."""
    language = spoken()
    if language == SOURCE:
        return f"{at:%Y-%m-%d %H:%M}"  # ISO 8601: English readers read 5/6 in two ways
    from babel.dates import format_skeleton  # noqa: PLC0415 - English never pays for it

    return f"{format_skeleton('yMMdd', at, locale=language)} {at:%H:%M}"


def moment(at: datetime) -> str:
    """A time of day with its day, in the zone that ``at`` is in: "14:05 on 27 November"."""
    language = spoken()
    if language == SOURCE:
        return f"{at:%H:%M on %d %B}"
    from babel.dates import format_skeleton, format_time  # noqa: PLC0415 - English never pays for it

    return f"{format_skeleton('MMMMd', at, locale=language)}, {format_time(at, 'short', locale=language)}"
