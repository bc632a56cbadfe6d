"""A photo that measures a pair of vials, read for itself: what it shows, and whether a tint may name it."""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from stripread.errors import Refused
from stripread.reasons import Reason, because
from stripread.results import Shown, Stamp, Status, reasons_json, status_of
from stripread.tint.cells import unlike
from stripread.tint.read import TintTrace, measure_tint

if TYPE_CHECKING:
    from stripread.photo import Source
    from stripread.tint.cells import Measured


@dataclass(frozen=True)
class CellsReading(Shown):
    """What the left vial lets through over the right one, linear light by channel (R, G, B), with standard deviations.

    No copper test: of what is in the vials nothing is said. Both are None when refused.
    """

    stamp: Stamp
    matching: Measured
    ratio: tuple[float, float, float] | None = None
    ratio_sd: tuple[float, float, float] | None = None
    reasons: tuple[Reason, ...] = ()

    @property
    def status(self) -> Status:
        """What the reasons amount to."""
        return status_of(self.reasons)

    def to_dict(self) -> dict[str, Any]:
        """The reading as its JSON object."""
        return {
            "photo": self.stamp.photo,
            "kind": "cells",
            "status": self.status,
            "matching": self.matching,
            "ratio": None if self.ratio is None else [round(v, 4) for v in self.ratio],
            "ratio_sd": None if self.ratio_sd is None else [round(v, 4) for v in self.ratio_sd],
            "reasons": reasons_json(self.reasons),
            "sha256": self.stamp.sha256,
            "taken_at": self.stamp.taken_at,
            "software": self.stamp.software,
            "seconds": round(self.stamp.seconds, 3),
        }


def trace_cells(data: Source, matching: Measured, name: str = "") -> tuple[CellsReading, TintTrace]:
    """Read the photo and keep what every stage came to. Never raises for a bad photo: it is refused, with its reason.

    ``matching``: "blank" for both vials with the same blank, "swapped" for a tint's two liquids exchanged.
    """
    start = time.perf_counter()
    trace = TintTrace()
    try:
        sample = measure_tint(data, trace)
    except Refused as refused:
        stamp = trace.card.stamp(name, data, time.perf_counter() - start)
        return CellsReading(stamp, matching, reasons=(refused.reason,)), trace
    stamp = trace.card.stamp(name, data, time.perf_counter() - start)
    why = unlike(sample) if matching == "blank" else ""  # of two liquids exchanged only the tint itself can tell
    reasons = (*trace.reasons, *([because("cells_unlike", why)] if why else []))
    red, green, blue = map(float, sample.ratio)
    sd = tuple(map(float, np.sqrt(np.diag(sample.cov))))
    return CellsReading(stamp, matching, (red, green, blue), (sd[0], sd[1], sd[2]), reasons), trace


def read_cells(data: Source, matching: Measured, name: str = "") -> CellsReading:
    """Read the photo that measures a pair of vials."""
    return trace_cells(data, matching, name)[0]
