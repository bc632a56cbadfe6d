"""What may belong to a solid and was not counted: bays in its outline as white as the paper, and the rest of its dish.

A lump of pale solid at the edge of a heap looks like paper that reaches into it. Heaps bulge; a bay wider than a
millimetre and a half is seldom paper. In a dish the pale part may lie along the wall, beyond all that is dark.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from stripread.solid.levels import PALE_BOTTOM
from stripread.tuned import tuned
from stripread.window.rims import lone_rim, printed

if TYPE_CHECKING:
    from stripread.card.layout import Window
    from stripread.card.view import CardView

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

BAY_MM = 1.5
LEAST_MM2 = 2.0
_TUNED = tuned("stripread.solid")
DISH_EDGE = _TUNED.number("dish_edge")
WALL_MM = 1.5
MUCH_PALE = _TUNED.number("much_pale")
HELD = _TUNED.number("held_by_dish")
PAPER_LIKE = _TUNED.number("paper_like")


def left_out_mm2(view: CardView, window: Window, solid: Mask, grey: NDArray[np.float32], places: Array) -> float:
    """Area (mm2) beside the solid's mask (h, w) that may be pale solid. grey (h, w): shares of paper white; places
    (h, w, 2) mm.
    """
    if not solid.any():
        return 0.0
    rows, columns = np.nonzero(solid)
    hull = np.zeros(solid.shape, np.uint8)
    outline = cv2.convexHull(np.stack([columns, rows], axis=1).astype(np.int32))
    cv2.drawContours(hull, [outline], -1, 1, cv2.FILLED)
    rest = _if_broad((hull > 0) & ~solid, view.px_per_mm)
    much = float((grey[solid] > PALE_BOTTOM).mean()) > MUCH_PALE
    for circle in lone_rim(view, window) if much else ():  # a wall is the same all round, unlike what lies in it
        off = np.hypot(places[..., 0] - circle.centre_mm[0], places[..., 1] - circle.centre_mm[1])
        inner = off < circle.radius_mm - WALL_MM
        if circle.edge > DISH_EDGE and not printed(circle, window) and solid[inner].sum() > HELD * solid.sum():
            rest |= _if_broad(inner & (hull == 0) & (grey > PALE_BOTTOM) & (grey < PAPER_LIKE), view.px_per_mm)
    return float(rest.sum()) / view.px_per_mm**2


def _if_broad(mask: Mask, px_per_mm: float) -> Mask:
    """The mask, or nothing where hardly any of it is as broad as a bay."""
    side = max(3, 2 * round(0.5 * BAY_MM * px_per_mm) + 1)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    broad = float(cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, kernel).sum()) / px_per_mm**2
    return mask if broad > LEAST_MM2 else np.zeros_like(mask)
