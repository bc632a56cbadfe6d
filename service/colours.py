"""Colours for the page: what was seen on each pad beside what the curve has at that pH, in screen colours."""

from __future__ import annotations

from typing import Any

import numpy as np

from service.worker import Outcome
from stripread.colour import lab_to_rgb, srgb_encode


def swatches(outcome: Outcome) -> list[dict[str, Any]]:
    """One {seen, seen_lab, curve, curve_lab, difference} for each pad; the curve's are null without a value."""
    pads = outcome.reading.get("pads") or []
    curve: list[list[float] | None] = list(outcome.curve_lab or [])
    curve += [None] * (len(pads) - len(curve))
    return [_swatch(pad["lab"], lab) for pad, lab in zip(pads, curve, strict=False)]


def _swatch(seen: list[float], curve: list[float] | None) -> dict[str, Any]:
    # The plain CIE 1976 distance is enough to say how near two swatches are, and needs no heavy import.
    return {
        "seen": hex_of(seen),
        "seen_lab": seen,
        "curve": None if curve is None else hex_of(curve),
        "curve_lab": curve,
        "difference": None if curve is None else round(float(np.linalg.norm(np.subtract(seen, curve))), 1),
    }


def hex_of(lab: list[float]) -> str:
    """CIELAB D50 to the nearest sRGB colour as `#rrggbb`; out-of-gamut channels are clipped."""
    return "#" + "".join(f"{round(255 * float(v)):02x}" for v in srgb_encode(lab_to_rgb(lab)))
