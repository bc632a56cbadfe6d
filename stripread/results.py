"""What leaves the package: frozen results and their JSON, as fixed by the interface.

``status`` is derived from the reasons, so that it can't disagree with them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

from stripread.reasons import Reason

Status = Literal["ok", "doubtful", "refused"]
Interval = tuple[float, float]
LEVEL = 0.95


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


@dataclass(frozen=True)
class PadColour:
    """One pad: CIELAB D50 (3,), its standard deviations (3,), and its corners in the full-size upright photo (4, 2) px."""

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
class PhReading:
    """A pH reading. ``ph`` and ``interval`` are None when refused."""

    stamp: Stamp
    ph: float | None
    interval: Interval | None
    alternatives: tuple[Alternative, ...] = ()
    pads: tuple[PadColour, ...] = ()
    misfit: float | None = None
    reasons: tuple[Reason, ...] = ()
    profile: str = ""
    budget: dict[str, float] = field(default_factory=dict)  # variance in pH by cause

    @property
    def status(self) -> Status:
        return status_of(self.reasons)

    def to_dict(self) -> dict[str, Any]:
        """The reading as its JSON object."""
        return {
            "photo": self.stamp.photo,
            "kind": "ph",
            "status": self.status,
            "ph": _rounded(self.ph, 3),
            "interval": None if self.interval is None else [_rounded(v, 3) for v in self.interval],
            "level": LEVEL,
            "alternatives": [
                {"ph": _rounded(a.ph, 3), "interval": [_rounded(v, 3) for v in a.interval], "weight": _rounded(a.weight, 3)}
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
            "sha256": self.stamp.sha256,
            "profile": self.profile,
            "taken_at": self.stamp.taken_at,
            "software": self.stamp.software,
            "seconds": round(self.stamp.seconds, 3),
        }


def reasons_json(reasons: tuple[Reason, ...]) -> list[dict[str, str]]:
    """Reasons as JSON, in the order found."""
    return [{"code": r.code, "severity": r.severity, "message": r.message} for r in reasons]


def _rounded(value: float | None, digits: int) -> float | None:
    """Round for print; NaN and None both become null."""
    if value is None or value != value:
        return None
    return round(float(value), digits)
