"""Readings as they are logged: one definition for the gates, the report, the API and its description.

The log keeps the JSON that a command printed. Here it gets its types back: what a newer version tells beside is kept,
what an older one did not tell yet has a default.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from stripread.ph.range_end import range_end
from stripread.reasons import Bound
from stripread.results import Status
from stripread.states.table import state
from stripread.tint.conditions import TintConditions
from stripread.words import _

Number = float | None
Pair = tuple[float, float]
Kind = Literal["ph", "tint", "solid", "cells"]
LAST_DIGIT = 0.0005  # pH: intervals are logged with three digits
SCALE = (0.0, 14.0)  # pH; beyond a strip's end the true pH may lie anywhere on it


def look_twice() -> str:
    """What a sentence says of a reading in doubt: that it says to look twice."""
    return _('says "{word}"', word=state("reading", "doubtful").word)


class LoggedReason(BaseModel):
    """Why a reading is doubtful or refused, or a caution, in plain words."""

    model_config = ConfigDict(frozen=True)

    code: str = Field(examples=["some_glare"])
    severity: Literal["refuse", "doubt", "note"] = "doubt"
    message: str


class Logged(BaseModel):
    """What every reading of the log has."""

    # A newer reading may tell more, and the log gives all of it; an older one lacks some and is described all the same.
    model_config = ConfigDict(frozen=True, extra="allow", json_schema_serialization_defaults_required=True)

    photo: str = ""
    status: Status = "ok"
    reasons: tuple[LoggedReason, ...] = ()
    sha256: str = ""
    software: str = ""
    seconds: float = 0.0

    @property
    def refused(self) -> bool:
        """Whether it has no value."""
        return self.status == "refused"

    @property
    def doubtful(self) -> bool:
        """Whether its value is doubted."""
        return self.status == "doubtful"

    def has_reason(self, code: str) -> bool:
        """Whether it carries this reason."""
        return any(reason.code == code for reason in self.reasons)


class Pad(BaseModel):
    """One pad: CIELAB D50, its standard deviations, its corners in the full-size photo."""

    lab: list[Number]
    sd: list[Number]
    corners_px: list[list[Number]]


class Alternative(BaseModel):
    """Another pH that fits about as well."""

    ph: float
    interval: Pair | None
    weight: float


class LoggedComparison(BaseModel):
    """How a strip stood to the one beside it in the same photo; ``ph`` is None where that was in rinse water."""

    liquid: str
    ph: Number = None
    interval: Pair | None = None
    delta_ph: Number = None
    delta_interval: Pair | None = None
    same_probability: Number = None
    tolerance: Number = None


class LoggedPh(Logged):
    """A pH reading of the log."""

    kind: Literal["ph"] = "ph"
    ph: Number = None
    interval: Pair | None = None
    level: float = 0.95
    alternatives: list[Alternative] = []
    pads: list[Pad] = []
    misfit: Number = None
    profile: str = ""

    @property
    def comparison(self) -> LoggedComparison | None:
        """How it stood to a strip beside it, where there was one: an extra of the few readings that have it."""
        told = (self.model_extra or {}).get("comparison")
        try:
            return None if told is None else LoggedComparison.model_validate(told)
        except ValidationError:
            return None  # of a version that told it otherwise: it proves nothing


class LoggedTint(Logged):
    """A reading of the copper-ammonia tint of the log."""

    kind: Literal["tint"] = "tint"
    decision: str | None = None
    absorbance: Number = None
    absorbance_interval: Pair | None = None
    delta_e: Number = None
    mg_per_l: Number = None
    interval: Pair | None = None
    detection_limit: Number = None
    level: float = 0.95
    cells: str = "none"  # how its pair of vials was measured: none, blank or swapped

    def conditions(self) -> TintConditions:
        """How the test was made, as far as it was told."""
        taken = self._taken()
        return TintConditions(
            **{name: value for name, value in taken.items() if name in TintConditions.__dataclass_fields__}
        )

    def dilution(self) -> float | None:
        """Volume after acid and ammonia over the sample's own; None where nobody said."""
        found = self._taken().get("dilution")
        return float(found) if isinstance(found, int | float) and found >= 1.0 else None

    def _taken(self) -> dict[str, Any]:
        found = (self.model_extra or {}).get("taken")
        return {str(name): value for name, value in found.items()} if isinstance(found, dict) else {}


class LoggedSolid(Logged):
    """A reading of a solid of the log."""

    kind: Literal["solid"] = "solid"
    lab: list[Number] | None = None
    sd: list[Number] | None = None
    pale_fraction: Number = None
    pale_interval: Pair | None = None


class LoggedCells(Logged):
    """A photo of the log that measures a pair of vials: no copper test, whatever is in them."""

    kind: Literal["cells"] = "cells"
    matching: Literal["blank", "swapped"] = "blank"
    ratio: list[Number] | None = None
    ratio_sd: list[Number] | None = None


AnyLogged = LoggedPh | LoggedTint | LoggedSolid | LoggedCells
_ANY: TypeAdapter[AnyLogged] = TypeAdapter(Annotated[AnyLogged, Field(discriminator="kind")])


def logged(reading: object) -> AnyLogged:
    """A reading from its JSON object.

    Raises
    ------
    pydantic.ValidationError
        If it is none: the log's own check says which entry.
    """
    return _ANY.validate_python(reading)


@dataclass(frozen=True)
class Observation:
    """One reading as gates see it: when it was taken (ISO time), of which wash, with a strip of which range.

    ``entry`` is its number in the log, to ask by; ``part`` the washing that it belongs to by the batch's notes.
    ``blank``: of the rinse water itself. ``strip_range`` is None where the profile's range is not known.
    ``cells_lost``: a tint was read with a photo of its vials that was withdrawn since, or whose row is damaged.
    """

    at: str
    reading: AnyLogged
    wash: int | None = None
    blank: bool = False
    strip_range: Pair | None = None
    entry: int | None = None
    part: int = 0
    cells_lost: bool = False

    def bound(self) -> Bound | Literal["unknown"] | None:
        """Whether the pH is only known to be at most or at least so much, as the strip's range ended there.

        "unknown" where it ended and nobody can say on which side: the profile is lost.
        """
        reading = self.reading
        if not isinstance(reading, LoggedPh) or reading.interval is None or not reading.has_reason("end_of_range"):
            return None
        if self.strip_range is None:
            return "unknown"
        return range_end(reading.interval, self.strip_range, LAST_DIGIT) or "unknown"

    def open_interval(self) -> Pair | None:
        """The interval of a pH, without its end where the strip's range ended; None without an interval."""
        if not isinstance(self.reading, LoggedPh) or self.reading.interval is None:
            return None
        low, high = self.reading.interval
        bound = self.bound()
        return SCALE[0] if bound in ("at most", "unknown") else low, SCALE[1] if bound in (
            "at least",
            "unknown",
        ) else high
