"""Colours for the page: what was seen on each pad beside what the curve has at that pH, in screen colours."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from service.readers.worker import Outcome
from stripread.colour import lab_to_rgb, srgb_encode


def swatches(outcome: Outcome) -> list[dict[str, Any]]:
    """One {seen, seen_lab, curve, curve_lab, difference} for each pad; the curve's are null without a value."""
    seen = [pad["lab"] for pad in outcome.reading.get("pads") or []]
    if not seen:
        return []
    curve = list(outcome.curve_lab or [])[: len(seen)]
    shown = hexes_of([*seen, *curve])  # all at once: array by array would cost ten times as much
    # The plain CIE 1976 distance is enough to say how near two swatches are, and needs no heavy import.
    told: list[dict[str, Any]] = [
        {
            "seen": shown[n],
            "seen_lab": lab,
            "curve": shown[len(seen) + n],
            "curve_lab": curve[n],
            "difference": round(math.dist(lab, curve[n]), 1),
        }
        for n, lab in enumerate(seen[: len(curve)])
    ]
    nothing = {"curve": None, "curve_lab": None, "difference": None}
    return told + [{"seen": shown[n], "seen_lab": seen[n], **nothing} for n in range(len(curve), len(seen))]


def hexes_of(lab: list[list[float]]) -> list[str]:
    """CIELAB D50 (N, 3) to the nearest sRGB colours as `#rrggbb`; out-of-gamut channels are clipped."""
    return ["#" + bytes(rgb).hex() for rgb in np.rint(255.0 * srgb_encode(lab_to_rgb(lab))).astype(np.uint8)]
