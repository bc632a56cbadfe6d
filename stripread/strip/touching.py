"""Strips that touch or lie one over another: what is found there need not be one strip's own pads."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from stripread.tuned import tuned

if TYPE_CHECKING:
    from stripread.kind import StripKind
    from stripread.strip.lane import LaneMap
    from stripread.strip.search import Place

Array = NDArray[np.float64]

_TUNED = tuned("stripread.strip")
EDGE_COLOUR = _TUNED.number("edge_colour")
TOO_WIDE = _TUNED.number("too_wide")
LEAST_OVERLAP_MM2 = 20.0  # a third of a millimetre along a strip: placing is no better
LEAST_TOUCH_MM2 = 4.0
NEAR_MM, FAR_MM = 0.7, 1.3  # beyond the strip's edge, past its own blur and seam
STEP_MM = 0.4


def edge_colour(lane: LaneMap, place: Place, span_mm: tuple[float, float], width_mm: float) -> float:
    """Colour, grey taken out, that lies right beside the strip along its pads: of the side and quarter with the most.

    Natural log of a ratio. Places that nothing is known of count as none. span_mm: from the dipped end.
    """
    s = np.arange(span_mm[0], span_mm[1], STEP_MM)
    most = 0.0
    for side in (-1.0, 1.0):
        t = side * (width_mm / 2 + np.arange(NEAR_MM, FAR_MM + 0.01, 0.2))
        grid_s, grid_t = np.meshgrid(s, t, indexing="ij")
        px = np.rint(lane.to_px(place.to_mm(np.stack([grid_s.ravel(), grid_t.ravel()], axis=1)))).astype(int)
        height, width = lane.known.shape
        px = np.clip(px, 0, [width - 1, height - 1])
        ratio = lane.ratio[px[:, 1], px[:, 0]].astype(np.float64)
        colour = np.linalg.norm(ratio - ratio.mean(axis=1, keepdims=True), axis=1)
        colour[~lane.known[px[:, 1], px[:, 0]]] = 0.0
        along = np.median(colour.reshape(len(s), len(t)), axis=1)
        most = max(most, float(np.quantile(along, 0.75)))
    return most


def colour_between(lane: LaneMap, upper: Array, lower: Array) -> float:
    """Most colour, grey taken out, midway between two strips: natural log of a ratio, of the quarter with the most.

    upper, lower: outlines (4, 2) mm, the upper's nearer the card's top edge. Strips that lie apart have paper there.
    """
    part = np.linspace(0.02, 0.98, int(np.hypot(*(upper[1] - upper[0])) / STEP_MM))[:, None]
    edges = []
    for outline, lowest in ((upper, True), (lower, False)):
        sides = sorted((outline[[0, 1]], outline[[3, 2]]), key=_height)
        side = sides[-1] if lowest else sides[0]
        side = side[np.argsort(side[:, 0])]
        edges.append((1 - part) * side[0] + part * side[1])
    px = np.rint(lane.to_px((edges[0] + edges[1]) / 2)).astype(int)
    height, width = lane.known.shape
    px = np.clip(px, 0, [width - 1, height - 1])
    ratio = lane.ratio[px[:, 1], px[:, 0]].astype(np.float64)
    colour = np.linalg.norm(ratio - ratio.mean(axis=1, keepdims=True), axis=1)
    return float(np.quantile(colour, 0.75))


def _height(points: Array) -> float:
    """How far down the card points (N, 2) mm lie."""
    return float(points[:, 1].mean())


def crowded(width_mm: float, beside: float, kind: StripKind) -> bool:
    """Whether what was found as one strip, ``width_mm`` wide with ``edge_colour`` beside it, is more than one."""
    return beside > EDGE_COLOUR or (not kind.is_roll and width_mm > TOO_WIDE * kind.width_mm)


def entangled(strips: Sequence[Array], others: Sequence[Array]) -> bool:
    """Whether outlines (4, 2) mm of strips overlap, or one's with ``others``: strip-like things that fit no strip."""
    pairs = [(a, b, LEAST_OVERLAP_MM2) for a, b in combinations(strips, 2)]
    pairs += [(a, b, LEAST_TOUCH_MM2) for a in strips for b in others]
    return any(overlap(a, b) > least for a, b, least in pairs)


def overlap(one: Array, other: Array) -> float:
    """Area in mm² that two strips' outlines, corners (4, 2) mm each, have in common."""
    area, _ = cv2.intersectConvexConvex(one.astype(np.float32), other.astype(np.float32))
    return float(area)
