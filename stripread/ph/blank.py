"""Does the wash still differ from the water it is washed with? Both read together, so that what they share cancels."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from stripread.ph.difference import TOLERANCE, Difference, difference_of

if TYPE_CHECKING:
    from stripread.ph.combined_reading import ObservedPhoto
    from stripread.ph.profile import Profile
    from stripread.results import PhReading


@dataclass(frozen=True)
class AgainstBlank:
    """A reading beside that of its rinse water. difference is None when one of the two has no value."""

    reading: PhReading
    blank: PhReading
    difference: Difference | None

    def to_dict(self) -> dict[str, Any]:
        """The reading's JSON object with ``blank``."""
        blank, d = self.blank.to_dict(), self.difference
        value = {key: blank[key] for key in ("photo", "sha256", "status", "ph", "interval", "reasons")}
        value |= {
            "difference": None if d is None else round(d.value, 3),
            "difference_interval": None if d is None else [round(v, 3) for v in d.interval],
            "tolerance": TOLERANCE,
            "probability_differs": None if d is None else round(d.differs, 4),
            "probability_more_acid": None if d is None else round(d.more_acid, 4),
            "probability_more_alkaline": None if d is None else round(d.more_alkaline, 4),
        }
        return {**self.reading.to_dict(), "blank": value}


def against_blank(wash: ObservedPhoto, blank: ObservedPhoto, profile: Profile) -> AgainstBlank:
    """Compare the first strips of two photos."""
    values = wash.reading.ph is not None and blank.reading.ph is not None
    difference = difference_of(wash.observations[0], blank.observations[0], profile) if values else None
    return AgainstBlank(wash.reading, blank.reading, difference)
