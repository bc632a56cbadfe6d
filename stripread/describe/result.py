"""What a description of an unused strip says: lengths with their doubt, pads, and the kind that they amount to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from stripread.kind import Pad, StripKind
from stripread.results import Shown, Stamp, Status, reasons_json, status_of

if TYPE_CHECKING:
    from stripread.describe.measure import Measure
    from stripread.reasons import Reason

Corners = tuple[tuple[float, float], ...]
DIGITS = 2


@dataclass(frozen=True)
class DescribedPad:
    """One pad, from the left, which is the dipped end: mm with standard deviations, and where it lies.

    corners: (4, 2), dipped end first, on the card (mm) and in the full-size upright photo (px). doubt: why it is not
    sure, in words, None where it is.
    """

    offset: Measure
    length: Measure
    width: Measure
    corners_mm: Corners
    corners_px: Corners
    doubt: str | None = None

    def to_dict(self) -> dict[str, Any]:
        """The pad as its JSON object."""
        return {
            **_measured("offset", self.offset),
            **_measured("length", self.length),
            **_measured("width", self.width),
            "sure": self.doubt is None,
            "doubt": self.doubt,
            "corners_mm": _corners(self.corners_mm, 2),
            "corners_px": _corners(self.corners_px, 1),
        }


@dataclass(frozen=True)
class StripDescription(Shown):
    """An unused strip as one photo shows it. Everything measured is None, and there are no pads, where it was refused.

    roll: one piece of one colour; its one pad is as long as the piece. outline: corners (4, 2), the dipped end's first
    and last, on the card (mm) and in the full-size upright photo (px).
    """

    stamp: Stamp
    width: Measure | None = None
    length: Measure | None = None
    end_sd: float | None = None  # of the dipped end, mm: every pad's offset has a part in it
    roll: bool = False
    pads: tuple[DescribedPad, ...] = ()
    outline_mm: Corners = ()
    outline_px: Corners = ()
    reasons: tuple[Reason, ...] = ()

    @property
    def status(self) -> Status:
        """What the reasons amount to."""
        return status_of(self.reasons)

    def __repr__(self) -> str:
        return f"<StripDescription {len(self.pads)} pads {self.status}>"

    def kind(
        self, name: str, ph_range: tuple[float, float], read_after_s: tuple[float, float] | None = None
    ) -> StripKind:
        """The kind that it amounts to, lengths to a tenth of a millimetre.

        Raises
        ------
        CallError
            If the range or the reading window does not run from low to high.
        ValueError
            If nothing was measured.
        """
        if self.width is None or self.length is None:
            raise ValueError("nothing was measured")
        length = round(self.length.mm, 1)
        if self.roll:
            pads: tuple[Pad, ...] = (Pad(0.0, length),)
        else:
            edges = [(round(max(pad.offset.mm, 0.0), 1), round(pad.offset.mm + pad.length.mm, 1)) for pad in self.pads]
            pads = tuple(Pad(a, round(min(b, length) - a, 1)) for a, b in edges)
        return StripKind(name, round(self.width.mm, 1), length, pads, ph_range, read_after_s)

    def to_dict(self) -> dict[str, Any]:
        """The description as its JSON object."""
        return {
            "photo": self.stamp.photo,
            "kind": "strip",
            "status": self.status,
            **_measured("width", self.width),
            **_measured("length", self.length),
            "dipped_end_sd_mm": None if self.end_sd is None else round(self.end_sd, DIGITS),
            "roll": self.roll,
            "pads": [pad.to_dict() for pad in self.pads],
            "outline_mm": _corners(self.outline_mm, 2),
            "outline_px": _corners(self.outline_px, 1),
            "reasons": reasons_json(self.reasons),
            "sha256": self.stamp.sha256,
            "taken_at": self.stamp.taken_at,
            "software": self.stamp.software,
            "seconds": round(self.stamp.seconds, 3),
        }


def _measured(name: str, measure: Measure | None) -> dict[str, float | None]:
    if measure is None:
        return {f"{name}_mm": None, f"{name}_sd_mm": None}
    return {f"{name}_mm": round(measure.mm, DIGITS), f"{name}_sd_mm": round(measure.sd, DIGITS)}


def _corners(corners: Corners, digits: int) -> list[list[float]]:
    return [[round(x, digits), round(y, digits)] for x, y in corners]
