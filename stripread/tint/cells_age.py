"""How long a photo that measures a pair of vials speaks of them: hours by what it shows, and hours that passed."""

from __future__ import annotations

from datetime import datetime

from stripread.tuned import tuned

_TUNED = tuned("stripread.tint")
# By what the photo shows. Vials get scratched, wetted and turned; a liquid with ammonia in it does not stay as it is.
HOURS: dict[str, float] = {"blank": _TUNED.number("cell_blank_hours"), "swapped": _TUNED.number("swapped_hours")}


def hours_between(one: str | None, other: str | None) -> float | None:
    """Hours between two photos by their own times (ISO 8601), whichever came first; None where that can't be told."""
    try:
        if one is not None and other is not None:
            return abs((datetime.fromisoformat(one) - datetime.fromisoformat(other)).total_seconds()) / 3600.0
    except (ValueError, TypeError):  # a time that is none, or only one of the two with a zone
        pass
    return None
