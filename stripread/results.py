"""What leaves the package: frozen results and their JSON, as fixed by the interface.

``status`` is derived from the reasons, so that it can't disagree with them.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal, Self

from stripread.notebook import html_of
from stripread.version import __version__

if TYPE_CHECKING:
    from stripread.reasons import Reason

Status = Literal["ok", "doubtful", "refused"]
Interval = tuple[float, float]
LEVEL = 0.95
SOFTWARE = f"stripread {__version__}"


def status_of(reasons: tuple[Reason, ...]) -> Status:
    """The status that these reasons amount to: notes leave it ``ok``."""
    severities = {r.severity for r in reasons}
    if "refuse" in severities:
        return "refused"
    return "doubtful" if "doubt" in severities else "ok"


@dataclass(frozen=True)
class Stamp:
    """What the pipeline knows of every reading whatever came of it."""

    photo: str
    sha256: str
    software: str
    seconds: float
    taken_at: str | None = None  # the photo's own time, ISO 8601 without zone, from its EXIF


class Shown:
    """A result as notebooks show it; the picture is drawn only when it is asked for.

    What draws it stands beside the fields, not among them: equal results stay equal, and a result that is pickled or
    copied travels without it.
    """

    def to_dict(self) -> dict[str, Any]:
        """The result as its JSON object."""
        raise NotImplementedError

    def drawn_by(self, draw: Callable[[], bytes | None]) -> Self:
        """Let ``draw`` make the picture, a PNG file, or None where it can't be made any more; returns the result."""
        self.__dict__["_draw"] = draw
        return self

    def picture(self) -> bytes | None:
        """The picture of the reading as PNG file, drawn anew from its photo; None where the photo is not at hand."""
        draw = self.__dict__.get("_draw")
        return None if draw is None else draw()

    def _repr_html_(self) -> str:
        return html_of(self.to_dict(), self.picture())

    def __getstate__(self) -> dict[str, Any]:
        return {name: value for name, value in self.__dict__.items() if name != "_draw"}


@dataclass(frozen=True)
class PadColour:
    """One pad: CIELAB D50 (3,), standard deviations (3,), and corners (4, 2) in px of the full-size upright photo."""

    lab: tuple[float, float, float]
    sd: tuple[float, float, float]
    corners_px: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Alternative:
    """Another pH that fits about as well, with the share of the posterior it holds."""

    ph: float
    interval: Interval
    weight: float


@dataclass(frozen=True)
class Comparison:
    """A sample's strip against another beside it: the liquid of that one, and how the two differ, sample minus it.

    ph: the liquid's, None where nobody knows it; interval: of that pH, or as its strip reads it. What has no value, for
    one of the strips could not be read, is None. same_probability: that they differ by no more than ``tolerance``.
    """

    liquid: str
    ph: float | None
    interval: Interval | None = None
    delta_ph: float | None = None
    delta_interval: Interval | None = None
    same_probability: float | None = None
    tolerance: float | None = None

    def to_dict(self) -> dict[str, Any]:
        """The comparison as its JSON object."""
        return {
            "liquid": self.liquid,
            "ph": _rounded(self.ph, 3),
            "interval": _pair(self.interval, 3),
            "delta_ph": _rounded(self.delta_ph, 3),
            "delta_interval": _pair(self.delta_interval, 3),
            "same_probability": _rounded(self.same_probability, 4),
            "tolerance": _rounded(self.tolerance, 2),
        }


@dataclass(frozen=True)
class TakenBy:
    """By which phone and in what light a photo was taken, and whether the profile knows them.

    phone: make, model and lens as the file names them, else None; light: signature, () where the card was not fitted;
    known: "phone and light", "phone" or "no"; share, curve: what is left of the variance that a stranger's phone and
    light bring, and of the curve's.
    """

    phone: str | None = None
    light: tuple[float, ...] = ()
    known: str = "no"
    share: float = 1.0
    curve: float = 1.0

    def to_dict(self) -> dict[str, Any]:
        """As its JSON object."""
        return {
            "phone": self.phone,
            "light": [round(v, 5) for v in self.light],
            "known": self.known,
            "share": round(self.share, 4),
            "curve": round(self.curve, 4),
        }


@dataclass(frozen=True)
class StripReading:
    """What one of the strips in a photo came to. ``ph`` and ``interval`` are None when it was refused."""

    ph: float | None
    interval: Interval | None
    alternatives: tuple[Alternative, ...] = ()
    pads: tuple[PadColour, ...] = ()
    misfit: float | None = None
    reasons: tuple[Reason, ...] = ()
    budget: dict[str, float] = field(default_factory=dict)  # variance in pH by cause
    comparison: Comparison | None = None  # where a strip beside it was to be compared with

    @property
    def status(self) -> Status:
        """What the reasons amount to."""
        return status_of(self.reasons)

    def to_dict(self) -> dict[str, Any]:
        """The strip as its JSON object: the fields of a pH reading that are a strip's own."""
        compared = {} if self.comparison is None else {"comparison": self.comparison.to_dict()}
        return {
            **compared,
            "status": self.status,
            "ph": _rounded(self.ph, 3),
            "interval": _pair(self.interval, 3),
            "alternatives": [
                {"ph": _rounded(a.ph, 3), "interval": _pair(a.interval, 3), "weight": _rounded(a.weight, 3)}
                for a in self.alternatives
            ],
            "pads": [
                {
                    "lab": [_rounded(v, 2) for v in p.lab],
                    "sd": [_rounded(v, 2) for v in p.sd],
                    "corners_px": [[_rounded(v, 1) for v in c] for c in p.corners_px],
                }
                for p in self.pads
            ],
            "misfit": _rounded(self.misfit, 2),
            "budget": {cause: _rounded(v, 6) for cause, v in self.budget.items()},
            "reasons": reasons_json(self.reasons),
        }


@dataclass(frozen=True)
class PhReading(Shown):
    """A pH reading. ``ph`` and ``interval`` are None when refused.

    With several strips in the lane it is the first one's, nearest the card's top edge; ``strips`` has all of them.
    """

    stamp: Stamp
    ph: float | None
    interval: Interval | None
    alternatives: tuple[Alternative, ...] = ()
    pads: tuple[PadColour, ...] = ()
    misfit: float | None = None
    reasons: tuple[Reason, ...] = ()
    profile: str = ""
    budget: dict[str, float] = field(default_factory=dict)  # variance in pH by cause
    strips: tuple[StripReading, ...] = ()
    waited_s: float | None = None  # from dip to photo, if it was said
    neutral_ph: float | None = None  # at the sample's temperature, if it was said
    comparison: Comparison | None = None  # where a strip beside it was to be compared with
    taken_by: TakenBy = field(default_factory=TakenBy)

    @property
    def status(self) -> Status:
        """What the reasons amount to."""
        return status_of(self.reasons)

    def __repr__(self) -> str:
        value = "no value" if self.ph is None else f"pH {self.ph:.2f}{_span(self.interval, 2)}"
        return f"<PhReading {value} {_verdict(self.status, self.reasons)}>"

    def own(self) -> StripReading:
        """The part of it that is the strip's own."""
        return StripReading(
            self.ph,
            self.interval,
            self.alternatives,
            self.pads,
            self.misfit,
            self.reasons,
            self.budget,
            self.comparison,
        )

    def to_dict(self) -> dict[str, Any]:
        """The reading as its JSON object."""
        own = self.own().to_dict()
        compared = {"comparison": own["comparison"]} if "comparison" in own else {}
        return {
            "photo": self.stamp.photo,
            "kind": "ph",
            "status": own["status"],
            "ph": own["ph"],
            "interval": own["interval"],
            "level": LEVEL,
            "alternatives": own["alternatives"],
            "pads": own["pads"],
            "misfit": own["misfit"],
            "budget": own["budget"],
            "reasons": own["reasons"],
            **compared,
            "strips": [strip.to_dict() for strip in self.strips],
            "waited_s": _rounded(self.waited_s, 1),
            "neutral_ph": _rounded(self.neutral_ph, 2),
            "taken_by": self.taken_by.to_dict(),
            "sha256": self.stamp.sha256,
            "profile": self.profile,
            "taken_at": self.stamp.taken_at,
            "software": self.stamp.software,
            "seconds": round(self.stamp.seconds, 3),
        }


@dataclass(frozen=True)
class TintReading(Shown):
    """A tint reading. Absorbances are decadic, at the band's maximum, one passage; concentrations mg/L of copper.

    Everything measured is None when refused; concentrations also without a path length. ``metal`` is what the
    concentration means for the metal, ``taken`` how the test was made.
    """

    stamp: Stamp
    decision: str = "undecided"
    absorbance: float | None = None
    absorbance_interval: Interval | None = None
    delta_e: float | None = None
    mg_per_l: float | None = None
    interval: Interval | None = None
    detection_limit: float | None = None  # mg/L
    decision_limit: float | None = None  # mg/L
    absorbance_limits: Interval | None = None  # decision and detection limit as absorbance
    probability: float | None = None  # that there is more than nothing
    path_mm: float | None = None
    metal: dict[str, float] = field(default_factory=dict)
    taken: dict[str, str | float | None] = field(default_factory=dict)
    cells: str = "none"  # how the pair of vials was measured: none, blank or swapped
    claim: str = ""  # what may be said of copper, given how the test was made
    claim_code: str = "none"  # the same in a word: absent, too acid, ammonia short, ...
    reasons: tuple[Reason, ...] = ()
    profile: str = ""

    @property
    def status(self) -> Status:
        """What the reasons amount to."""
        return status_of(self.reasons)

    def __repr__(self) -> str:
        value = "no value"
        if self.mg_per_l is not None:
            value = f"{self.decision} {self.mg_per_l:.1f}{_span(self.interval, 1)} mg/L"
        elif self.absorbance is not None:
            value = f"{self.decision} absorbance {self.absorbance:.4f}{_span(self.absorbance_interval, 4)}"
        return f"<TintReading {value} {_verdict(self.status, self.reasons)}>"

    def to_dict(self) -> dict[str, Any]:
        """The reading as its JSON object."""
        return {
            "photo": self.stamp.photo,
            "kind": "tint",
            "status": self.status,
            "decision": self.decision,
            "absorbance": _rounded(self.absorbance, 5),
            "absorbance_interval": _pair(self.absorbance_interval, 5),
            "delta_e": _rounded(self.delta_e, 2),
            "mg_per_l": _rounded(self.mg_per_l, 2),
            "interval": _pair(self.interval, 2),
            "detection_limit": _rounded(self.detection_limit, 2),
            "decision_limit": _rounded(self.decision_limit, 2),
            "absorbance_limits": _pair(self.absorbance_limits, 5),
            "probability": _rounded(self.probability, 4),
            "path_mm": _rounded(self.path_mm, 2),
            "metal": {name: _rounded(v, 4) for name, v in self.metal.items()},
            "taken": dict(self.taken),
            "claim": self.claim,
            "claim_code": self.claim_code,
            "cells": self.cells,
            "level": LEVEL,
            "reasons": reasons_json(self.reasons),
            "sha256": self.stamp.sha256,
            "profile": self.profile,
            "taken_at": self.stamp.taken_at,
            "software": self.stamp.software,
            "seconds": round(self.stamp.seconds, 3),
        }


@dataclass(frozen=True)
class SolidReading(Shown):
    """A reading of a solid: its colour, CIELAB D50 with standard deviations, and the share of its area that is pale."""

    stamp: Stamp
    lab: tuple[float, float, float] | None = None
    sd: tuple[float, float, float] | None = None
    pale_fraction: float | None = None
    pale_interval: Interval | None = None
    descriptions: tuple[str, ...] = ()
    region_mm: tuple[float, float, float, float] | None = None
    reasons: tuple[Reason, ...] = ()

    @property
    def status(self) -> Status:
        """What the reasons amount to."""
        return status_of(self.reasons)

    def __repr__(self) -> str:
        value = "no value"
        if self.pale_fraction is not None:
            value = f"pale {self.pale_fraction:.4f}{_span(self.pale_interval, 4)}"
        return f"<SolidReading {value} {_verdict(self.status, self.reasons)}>"

    def to_dict(self) -> dict[str, Any]:
        """The reading as its JSON object."""
        return {
            "photo": self.stamp.photo,
            "kind": "solid",
            "status": self.status,
            "lab": None if self.lab is None else [_rounded(v, 2) for v in self.lab],
            "sd": None if self.sd is None else [_rounded(v, 2) for v in self.sd],
            "pale_fraction": _rounded(self.pale_fraction, 5),
            "pale_interval": _pair(self.pale_interval, 5),
            "descriptions": list(self.descriptions),
            "region_mm": None if self.region_mm is None else [_rounded(v, 2) for v in self.region_mm],
            "level": LEVEL,
            "reasons": reasons_json(self.reasons),
            "sha256": self.stamp.sha256,
            "taken_at": self.stamp.taken_at,
            "software": self.stamp.software,
            "seconds": round(self.stamp.seconds, 3),
        }


def reasons_json(reasons: tuple[Reason, ...]) -> list[dict[str, str]]:
    """Reasons as JSON, in the order found."""
    return [{"code": r.code, "severity": r.severity, "message": r.message} for r in reasons]


def _span(interval: Interval | None, digits: int) -> str:
    return "" if interval is None else f" ({interval[0]:.{digits}f} to {interval[1]:.{digits}f})"


def _verdict(status: Status, reasons: tuple[Reason, ...]) -> str:
    """The status, and of a refusal its code."""
    codes = [reason.code for reason in reasons if reason.severity == "refuse"]
    return f"{status}: {', '.join(codes)}" if codes else status


def _rounded(value: float | None, digits: int) -> float | None:
    """Round for print; NaN and None both become null."""
    if value is None or math.isnan(value):
        return None
    return round(float(value), digits)


def _pair(interval: Interval | None, digits: int) -> list[float | None] | None:
    return None if interval is None else [_rounded(v, digits) for v in interval]
