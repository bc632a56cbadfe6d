"""What is said of a strip beside its photo: the options of the same names of `stripread read`."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from stripread.ph.buffers import liquid_of
from stripread.ph.circumstances import Circumstances, dip_time, waited


@dataclass(frozen=True)
class StripStatement:
    """When the strip was dipped, in what, and when the photo was taken by the same clock.

    ``beside`` names what the strip below it was dipped in: a pH, a buffer with its temperature, or ``water``.

    ``dipped_at`` is seconds before the photo or a time of the phone's clock; ``snapped_at`` is ISO 8601 in the phone's
    own zone, for photos that carry no time.

    Raises
    ------
    CallError
        For a dip time, a temperature or a liquid that is none.
    """

    dipped_at: str | None = None
    temperature_c: float | None = None
    rinse: bool = False
    snapped_at: str | None = None
    beside: str | None = None

    def __post_init__(self) -> None:
        self.of_photo(None)

    def of_photo(self, taken_at: str | None) -> Circumstances:
        """As the reading takes it; a photo without its own time has that of the phone's page."""
        dipped = None if self.dipped_at is None else dip_time(self.dipped_at)
        if taken_at is None and isinstance(dipped, datetime):
            seconds = waited(dipped, _time(self.snapped_at))
            dipped = dipped if seconds is None else seconds
        beside = None if self.beside is None else liquid_of(self.beside)
        return Circumstances(dipped, self.rinse, self.temperature_c, beside)

    def to_dict(self) -> dict[str, Any]:
        """What was said, JSON-ready, to keep in the log; nothing when nothing was said."""
        if self.dipped_at is None and self.temperature_c is None and not self.rinse and self.beside is None:
            return {}
        return {name: value for name, value in asdict(self).items() if value is not None and value is not False}


def _time(text: str | None) -> str | None:
    """The text if it is a date and time: a client may send anything."""
    try:
        return text if text is not None and datetime.fromisoformat(text) else None
    except ValueError:
        return None
