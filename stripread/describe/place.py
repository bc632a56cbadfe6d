"""Where something long lies in the lane that is no paper, whatever its kind: its axis, and about how wide it is.

Both its sides must differ from what lies beside them in the same way, as a pad or a carrier does and a shadow's edge
does not. Along one line many small differences add up: so a pale strip is found as well as a strong one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from stripread.card.layout import LANE_MM
from stripread.errors import Refused
from stripread.kind import Pad, StripKind
from stripread.reasons import because
from stripread.robust import median
from stripread.strip.fit import Frame, across_axis, straighten
from stripread.strip.search import BAND_MM, GAP_MM, Place, coarse_map
from stripread.tuned import tuned

if TYPE_CHECKING:
    from stripread.strip.lane import LaneMap

Array = NDArray[np.float64]

_TUNED = tuned("stripread.describe")
LINE_CEILING = _TUNED.number("line_ceiling")
LINE_SEEN = _TUNED.number("line_seen")
TRIED_DEG = np.arange(-12.0, 12.1, 1.5)
TRIED_WIDTHS_MM = (4.0, 6.0, 9.0)
BOX_MM = 3.0  # along the strip: shorter than any pad that a reader could use
CHUNK_MM = 6.0
REACH_MM = 100.0  # along the lane: no strip that lies in it is longer


@dataclass(frozen=True)
class Axis:
    """The strip's axis and the lane seen along it.

    place: its zero lies where the axis crosses the lane's left end. width_mm: about.
    """

    place: Place
    frame: Frame
    width_mm: float


def find_axis(lane: LaneMap) -> Axis:
    """Find the axis of what lies in the lane.

    Raises
    ------
    Refused
        ``no_strip`` where nothing does.
    """
    place, width = _best_line(lane)
    for turn in range(3):
        frame = straighten(lane, place, stand_in(width))
        place, width = _straightened(frame, place, width, lane.noise, first=turn == 0)
    return Axis(place, straighten(lane, place, stand_in(width)), width)


def stand_in(width_mm: float) -> StripKind:
    """A kind of that width whose frame shows the whole lane: what the fit of a known strip works with."""
    return StripKind("", width_mm, REACH_MM, (Pad(0.2 * REACH_MM, 0.6 * REACH_MM),), (0.0, 14.0))


def _best_line(lane: LaneMap) -> tuple[Place, float]:
    """The row of the turned map along which most differs from both its sides, as place and width (mm)."""
    small, ppm = coarse_map(lane)
    height, width = small.shape[:2]
    cut = round(REACH_MM * ppm)
    best, found = LINE_SEEN, None
    for angle in np.radians(TRIED_DEG):
        matrix = cv2.getRotationMatrix2D(((width - 1) / 2, (height - 1) / 2), float(np.degrees(angle)), 1.0)
        turned = np.asarray(cv2.warpAffine(small, matrix, (width, height), flags=cv2.INTER_LINEAR), dtype=np.float32)
        for wide in TRIED_WIDTHS_MM:
            score = _line_scores(turned, ppm, wide, cut)
            row = int(np.argmax(score))
            if score[row] > best:
                best, found = float(score[row]), (float(angle), row, wide)
    if found is None:
        raise Refused(because("no_strip"))
    angle, row, wide = found
    middle = np.array([(width - 1) / 2, (height - 1) / 2])
    off = row - middle[1]
    centre = (middle + off * np.array([-np.sin(angle), np.cos(angle)])) / ppm  # map px from its corner's centre, in mm
    step = 0.5 / ppm - 0.5 / lane.px_per_mm
    at = np.array(lane.origin_mm) + centre + step
    along = np.array([np.cos(angle), np.sin(angle)])
    start = at + along * (LANE_MM[0] - at[0]) / along[0]
    return Place(float(start[0]), float(start[1]), angle, best, best, 0.0), wide


def _line_scores(turned: NDArray[np.float32], ppm: float, wide: float, cut: int) -> Array:
    """For each row as the axis: the summed difference of a strip ``wide`` mm from both its sides, (rows,)."""
    rows, band = max(2, round(wide * ppm)), max(2, round(BAND_MM * ppm))
    away = round((wide / 2 + GAP_MM + BAND_MM / 2) * ppm)
    mid = cv2.blur(turned, (1, rows), borderType=cv2.BORDER_REPLICATE)
    side = cv2.blur(turned, (1, band), borderType=cv2.BORDER_REPLICATE)
    up, down = np.zeros_like(side), np.zeros_like(side)
    up[away:], down[:-away] = side[:-away], side[away:]
    box = max(2, round(BOX_MM * ppm))
    above, below, own = (cv2.blur(v, (box, 1), borderType=cv2.BORDER_CONSTANT) for v in (mid - up, mid - down, mid))
    product, square = (cv2.transform(v, np.ones((1, 3), np.float32)) for v in (above * below, own * own))
    seen = np.minimum(np.sqrt(np.clip(product, 0.0, square)), LINE_CEILING)
    total = np.asarray(seen.sum(axis=1), dtype=np.float64) / ppm
    edge = round((wide / 2 + 0.5) * ppm)
    total[: edge + 1] = 0.0
    total[-edge - 1 :] = 0.0
    return total


def _straightened(frame: Frame, place: Place, width: float, noise: float, *, first: bool) -> tuple[Place, float]:
    """Place and width after a robust line through the middles of short pieces."""
    rows = []
    for s0 in np.arange(-4.0, REACH_MM + 4.0, CHUNK_MM):
        centre, wide, energy = across_axis(frame, s0, s0 + CHUNK_MM, width, free=True)
        strength = energy / (noise**2 * 40.0)
        rows.append((s0 + CHUNK_MM / 2, centre, wide, (strength / (strength + 60.0)) ** 2))
    at, centre_t, widths, weight = (np.array(v) for v in zip(*rows, strict=True))
    weight = weight + 1e-6
    slope, base = 0.0, float(np.average(at, weights=weight))
    middle = float(np.average(centre_t, weights=weight))
    robust = weight
    for _ in range(6):
        u = at - base
        middle = float(np.average(centre_t - slope * u, weights=robust))
        slope = float((robust * u * (centre_t - middle)).sum() / ((robust * u * u).sum() + 0.5))
        robust = weight / (1.0 + ((centre_t - middle - slope * u) / (0.6 if first else 0.3)) ** 4)
    order = np.argsort(widths)
    half = np.searchsorted(np.cumsum(robust[order]), 0.5 * robust.sum())
    wide = float(widths[order][min(half, len(order) - 1)]) if robust.sum() > 1e-3 else median(widths)
    turned = place.angle + float(np.arctan(slope))
    pivot = np.array([place.x, place.y]) + base * place.along + middle * place.across
    along = np.array([np.cos(turned), np.sin(turned)])
    start = pivot + along * (LANE_MM[0] - pivot[0]) / along[0]
    return Place(float(start[0]), float(start[1]), turned, place.score, place.pad_score, 0.0), wide
