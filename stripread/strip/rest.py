"""What is left of the lane's map when strips are taken out of it, and whether something still lies there."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from stripread.card.layout import layout
from stripread.tuned import tuned

if TYPE_CHECKING:
    from stripread.strip.lane import LaneMap

Array = NDArray[np.float64]

_TUNED = tuned("stripread.strip")
LEFT_SEEN = _TUNED.number("left_seen")
LANE_INSET_MM = 1.5  # the printed outline and its blur
LEAST_LEFT_MM2 = 8.0  # clear colour of half a small pad


@dataclass(frozen=True)
class Left:
    """Clear colour that is left inside the lane: how much (mm²), and how far down the card (mm), on average."""

    area_mm2: float
    y_mm: float


def something_left(lane: LaneMap) -> Left | None:
    """What clear colour is left inside the lane; None where it is less than half a small pad has."""
    x, y, w, h = layout().lane_mm
    inset = LANE_INSET_MM
    low, high = lane.to_px(np.array([[x + inset, y + inset], [x + w - inset, y + h - inset]])).astype(int)
    top = max(0, low[1])
    inner = np.ascontiguousarray(lane.ratio[top : high[1], max(0, low[0]) : high[0]])
    size = max(3, round(1.5 * lane.px_per_mm))
    some = cv2.blur(inner, (size, size))[::2, ::2]  # every other pixel of what is blurred says as much
    clear = np.abs(some).max(axis=2) > LEFT_SEEN
    area = 4.0 * float(clear.sum()) / lane.px_per_mm**2
    if area <= LEAST_LEFT_MM2:
        return None
    rows = np.nonzero(clear)[0]
    return Left(area, float((top + 2.0 * rows.mean()) / lane.px_per_mm + lane.origin_mm[1]))


def without(lane: LaneMap, *outlines_mm: Array) -> LaneMap:
    """The map with strips' footprints, corners (4, 2) mm each, turned to paper that nothing is known of."""
    ratio, known = lane.ratio.copy(), lane.known.astype(np.uint8)
    for outline in outlines_mm:
        corner = outline[0]
        along, across = outline[1] - corner, outline[3] - corner
        one, two = along / np.hypot(*along), across / np.hypot(*across)
        wide = np.array([[-3.0, -1.2], [3.0, -1.2], [3.0, 1.2], [-3.0, 1.2]])
        quad = np.rint(lane.to_px(outline + wide[:, :1] * one + wide[:, 1:] * two)).astype(np.int32)
        cv2.fillConvexPoly(ratio, quad, (0.0, 0.0, 0.0))
        cv2.fillConvexPoly(known, quad, (0.0,))
    return replace(lane, ratio=ratio, known=known > 0)
