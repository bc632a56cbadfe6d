"""How far a phone's sharpening lifts a bright speck on a dark ground: told from the card's own black squares.

Sharpening adds to a picture what it differs by from its own blur. Along a straight edge half of that shows at most, as
a bright line beside the black; a speck smaller than the blur gets all of it (the blur of a straight edge holds half of
either side, that of a speck hardly any of the speck). The lens blurs both: for specks twice the edge's is taken.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from stripread.card.layout import CardLayout
from stripread.colour import srgb_decode, srgb_encode

if TYPE_CHECKING:
    from stripread.card.view import CardView

Array = NDArray[np.float64]

NEAR_MM = (0.0, 1.45)  # from the edge, where the bright line lies
FAR_MM = (1.9, 2.6)  # where the paper is itself again
BLACK_MM = (-1.8, -0.3)  # inside the square's black border
STEP_MM = 0.1
ALONG = np.linspace(0.2, 0.8, 41)  # of a side, away from its corners
CORE_PX = (5, 5)  # of a grain: what its blurred edge does not reach
MOST = 0.6  # more is no sharpening, but something that lies there


def overshoot(view: CardView, layout: CardLayout) -> float:
    """Height of the bright line beside black squares, or the depth of the dark one in them, of the whole encoded step.

    The larger of both, each the median over the squares' sides: white that is clipped shows no line. 0 where no side
    is seen.
    """
    encoded = view.rgb.mean(axis=2) / 255.0
    out = np.arange(BLACK_MM[0], FAR_MM[1] + STEP_MM, STEP_MM)
    lines = []
    for marker in layout.markers:
        corners = np.array(marker.corners_mm)
        for n in range(4):
            one, two = corners[n], corners[(n + 1) % 4]
            outward = (one + two) / 2.0 - corners.mean(axis=0)
            outward = outward / np.linalg.norm(outward)
            places = (one + (two - one) * ALONG[:, None])[:, None] + outward * out[:, None]
            line = _sampled(view, encoded, places)
            if line is not None:
                lines.append(line)
    if not lines:
        return 0.0
    table = np.stack(lines)  # (L, T)
    white = np.median(table[:, (out >= FAR_MM[0]) & (out <= FAR_MM[1])], axis=1)
    inside = table[:, (out >= BLACK_MM[0]) & (out <= BLACK_MM[1])]
    step = np.maximum(white - np.median(inside, axis=1), 0.1)
    above = (table[:, (out >= NEAR_MM[0]) & (out <= NEAR_MM[1])].max(axis=1) - white) / step
    below = (np.median(inside, axis=1) - inside.min(axis=1)) / step
    return float(np.clip(max(np.median(above), np.median(below)), 0.0, MOST))


def _sampled(view: CardView, encoded: Array, places: Array) -> Array | None:
    """Mean along a side at each distance from it, (T,), for places (A, T, 2) mm; None where they leave the picture."""
    at = np.rint(view.mm_to_view(places.reshape(-1, 2))).astype(int)
    h, w = encoded.shape
    if (at < 0).any() or (at[:, 0] >= w).any() or (at[:, 1] >= h).any() or not view.inside[at[:, 1], at[:, 0]].all():
        return None
    return np.asarray(encoded[at[:, 1], at[:, 0]].reshape(places.shape[:2]).mean(axis=0), dtype=np.float64)


def unlifted(share: NDArray[np.float32], mask: NDArray[np.bool_], levels: tuple[float, float], edge: float) -> float:
    """Mean of a pale share (h, w) over ``mask`` (h, w) where all but the cores of grains is as far lifted as the
    smallest specks are: the least that it may be. levels: of the dark and of the pale.
    """
    dark, bright = levels
    counted = np.where(mask, np.clip(share, 0.0, 1.15), 0.0)
    core = cv2.erode((counted > 0.5).astype(np.uint8), np.ones(CORE_PX, np.uint8), borderValue=0) > 0
    more = (lifted(bright, dark, edge) - dark) / max(bright - dark, 0.05)
    outside = float(counted[~core].sum())
    return (float(counted[core].sum()) + outside / max(more, 1.0)) / max(int(mask.sum()), 1)


def lifted(level: float, ground: float, edge: float) -> float:
    """Level (share of paper white) that a speck of ``level`` on ``ground`` is lifted to, for an overshoot of edges."""
    top, bottom = (float(v) for v in srgb_encode(np.clip(np.array([level, ground]), 0.0, 1.0)))
    return float(srgb_decode(np.array(top + 2.0 * edge * max(top - bottom, 0.0))))
