"""Where a solid lies in its window: the hull of what is dark or grey, the inside of its dish, or a pale heap."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
from numpy.typing import NDArray

from stripread.card.layout import RING_RADIUS_MM, Window
from stripread.errors import Refused
from stripread.reasons import because
from stripread.solid.edge import PAPER_LIKE
from stripread.solid.levels import DARK_TOP
from stripread.tuned import tuned
from stripread.window.rims import RIM_SEEN, channel_mean, find_circles, printed
from stripread.words import _

if TYPE_CHECKING:
    from stripread.card.view import CardView

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

MARGIN_MM = 1.0  # from the edge of the heap or the vessel
MIN_AREA_MM2 = 15.0
_TUNED = tuned("stripread.solid")
DARK_LEAST_MM2 = _TUNED.number("dark_least_mm2")
SPECK_TOP = _TUNED.number("speck_top")
MANY_SPECKS = _TUNED.count("many_specks")
GREY_TOP = _TUNED.number("grey_top")
GREY_BEYOND = _TUNED.number("grey_beyond")
SPARSE = _TUNED.number("sparse_dark")
SECTORS = 36
RING_HIDDEN = _TUNED.number("ring_hidden")


def outline(view: CardView, window: Window, light: NDArray[np.float32], places: Array) -> Mask:
    """The solid in a window, for light (h, w, 3) relative to paper at places (h, w, 2) mm.

    The hull of all that is dark, and of the grey that reaches beyond it, less the paper that reaches into it; where too
    little is dark or grey for that, the inside of a vessel, or a heap a little darker than paper, or what hides the
    window's printed ring.

    Raises
    ------
    Refused
        ``no_solid`` when there is none.
    """
    smooth = cv2.GaussianBlur(channel_mean(light), (0, 0), max(0.5, 0.15 * view.px_per_mm))
    grey: NDArray[np.float32] = np.asarray(smooth, dtype=np.float32)
    away = np.hypot(places[..., 0] - window.centre_mm[0], places[..., 1] - window.centre_mm[1])
    near = away < window.radius_mm + 1.0
    dark = ((grey < DARK_TOP) & near).astype(np.uint8)
    thin = max(3, 2 * round(0.45 * view.px_per_mm) + 1)  # thicker than the printed ring
    solid = cv2.morphologyEx(dark, cv2.MORPH_OPEN, np.ones((thin, thin), np.uint8))
    on_ring = np.abs(away - RING_RADIUS_MM) < 1.0
    pieces = np.where(on_ring, solid, cv2.morphologyEx(dark, cv2.MORPH_OPEN, np.ones((2, 2), np.uint8)))
    if pieces.sum() / view.px_per_mm**2 < DARK_LEAST_MM2:
        specks = ((grey < SPECK_TOP) & near & ~on_ring).astype(np.uint8)
        if cv2.connectedComponents(specks)[0] > MANY_SPECKS:  # a wall or a shadow hangs together
            pieces = specks
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, odd(MARGIN_MM * view.px_per_mm))
    little = bool(pieces.sum() / view.px_per_mm**2 < DARK_LEAST_MM2)
    filled = np.zeros(dark.shape, np.uint8) if little else _hull(pieces, view.px_per_mm)
    if not little and pieces.sum() < SPARSE * filled.sum():  # the darkest gaps of a pale heap lie anywhere in it
        filled = _hull(pieces | _gaps(grey, near & ~on_ring, thin), view.px_per_mm)
    # Silver beside the oxide, or alone: thicker than print, and darker than a dish's wall.
    body = ((grey < GREY_TOP) & near).astype(np.uint8)
    body = np.asarray(cv2.morphologyEx(body, cv2.MORPH_OPEN, np.ones((thin, thin), np.uint8)), dtype=np.uint8)
    beyond = float((body & ~_grown(filled, kernel)).sum())
    if beyond > max(GREY_BEYOND * float(filled.sum()), 2 * MIN_AREA_MM2 * view.px_per_mm**2):
        filled, little = _hull(pieces | body, view.px_per_mm), False
        dark = dark | body
    if little:
        return np.asarray(_pale(view, window, grey, places) > 0)
    # Paper inside the hull hangs together with the paper outside of it; a grain does not, or is darker than paper.
    ellipse = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, odd(view.px_per_mm))
    paper = cv2.morphologyEx((grey > PAPER_LIKE).astype(np.uint8), cv2.MORPH_OPEN, ellipse)
    _, labels = cv2.connectedComponents(paper)
    outside = np.unique(labels[filled == 0])
    rest = filled * ~np.isin(labels, outside[outside > 0])
    # A heap nearly as white as paper would go the same way: what is left is then not mostly dark.
    large = cv2.erode(rest.astype(np.uint8), kernel, borderValue=0).sum() / view.px_per_mm**2 > 2 * MIN_AREA_MM2
    if large and (rest.sum() > 0.6 * filled.sum() or (rest > 0)[dark > 0].sum() > 0.5 * rest.sum()):
        filled = rest.astype(np.uint8)
    if cv2.erode(filled, kernel, borderValue=0).sum() / view.px_per_mm**2 < 2 * MIN_AREA_MM2:
        filled = _larger(filled, view, window, grey, places)  # a few dark specks in a pale heap
    return np.asarray(filled > 0)


def _larger(
    filled: NDArray[np.uint8], view: CardView, window: Window, grey: NDArray[np.float32], places: Array
) -> NDArray[np.uint8]:
    """What is seen of a pale heap, where that is more."""
    try:
        pale = _pale(view, window, grey, places)
    except Refused:
        return filled
    return pale if pale.sum() > filled.sum() else filled


def _gaps(grey: NDArray[np.float32], where: Mask, thin: int) -> NDArray[np.uint8]:
    """The gaps between pale grains, smoothed light ``grey`` (h, w) relative to paper; none where they are few.

    thin: pixels; what is wider is a wall or a shadow, and so is its edge.
    """
    specks = ((grey < GREY_TOP) & where).astype(np.uint8)
    broad = cv2.morphologyEx(specks, cv2.MORPH_OPEN, np.ones((thin, thin), np.uint8))
    specks = np.where(cv2.dilate(broad, np.ones((thin, thin), np.uint8)) > 0, 0, specks).astype(np.uint8)
    if cv2.connectedComponents(specks)[0] <= MANY_SPECKS:
        return np.zeros(grey.shape, np.uint8)
    return np.asarray(specks, dtype=np.uint8)


def odd(pixels: float) -> tuple[int, int]:
    """Sides of a square kernel about twice as many pixels wide, with a middle."""
    side = max(3, 2 * round(pixels) + 1)
    return side, side


def _grown(filled: NDArray[np.uint8], kernel: NDArray[Any]) -> NDArray[np.uint8]:
    return np.asarray(cv2.dilate(filled, kernel), dtype=np.uint8)


def _hull(pieces: NDArray[np.uint8], px_per_mm: float) -> NDArray[np.uint8]:
    """The hull of the largest group of pieces."""
    rows, columns = np.nonzero(_largest_group(pieces, 7.0 * px_per_mm))
    hull = cv2.convexHull(np.stack([columns, rows], axis=1).astype(np.int32))
    filled = np.zeros(pieces.shape, np.uint8)
    cv2.drawContours(filled, [hull], -1, 1, cv2.FILLED)
    return filled


def _largest_group(pieces: NDArray[np.uint8], gap_px: float) -> Mask:
    """Pieces nearer to each other than the gap, in the largest such group."""
    grown = cv2.dilate(pieces, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, odd(gap_px / 2)))
    _, labels = cv2.connectedComponents(grown)
    sizes = np.bincount(labels[pieces > 0])
    return np.asarray((pieces > 0) & (labels == int(np.argmax(sizes))))


def _pale(view: CardView, window: Window, grey: NDArray[np.float32], places: Array) -> NDArray[np.uint8]:
    """Hardly anything is dark or grey: the inside of a dish, a heap a little darker than paper, or one as white.

    Raises
    ------
    Refused
        ``no_solid`` when the window's printed ring is seen, and nothing on it.
    """
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, odd(MARGIN_MM * view.px_per_mm))
    inside = _vessel(view, window, places)
    if cv2.erode(inside, kernel, borderValue=0).sum() / view.px_per_mm**2 > 2 * MIN_AREA_MM2:
        return inside
    try:
        return _pale_heap(view, window, grey, places)
    except Refused:
        hiding = hides_ring(view, window, grey, places)
        if cv2.erode(hiding, kernel, borderValue=0).sum() / view.px_per_mm**2 < 2 * MIN_AREA_MM2:
            raise
        return hiding


def _vessel(view: CardView, window: Window, places: Array) -> NDArray[np.uint8]:
    """The inside of the two clearest circles in the window; nothing where none is clear."""
    circles = [c for c in find_circles(view, window) if not printed(c, window)]
    clear = bool(circles) and circles[0].edge >= RIM_SEEN
    filled = np.full(places.shape[:2], clear, np.uint8)
    for circle in circles[:2]:
        off = np.hypot(places[..., 0] - circle.centre_mm[0], places[..., 1] - circle.centre_mm[1])
        filled[off >= circle.radius_mm] = 0
    return filled


def hides_ring(view: CardView, window: Window, grey: NDArray[np.float32], places: Array) -> NDArray[np.uint8]:
    """Where something covers the ring that the card shows in the window (RING_RADIUS_MM): sectors of its disc, (h, w).

    grey (h, w): shares of paper white; places (h, w, 2) mm.

    Bare paper shows the ring, and so does clear liquid; a heap does not, be it as white as the paper.
    """
    turn = np.arctan2(places[..., 1] - window.centre_mm[1], places[..., 0] - window.centre_mm[0])
    away = np.hypot(places[..., 0] - window.centre_mm[0], places[..., 1] - window.centre_mm[1])
    sector = np.minimum(((turn + np.pi) / (2 * np.pi) * SECTORS).astype(int), SECTORS - 1)
    hidden = np.zeros(SECTORS, bool)
    for n in range(SECTORS):
        here = sector == n
        ring = grey[here & (np.abs(away - RING_RADIUS_MM) < 0.5)]
        beside = grey[here & (np.abs(np.abs(away - RING_RADIUS_MM) - 1.2) < 0.4)]
        if len(ring) and len(beside):
            # the ring is a quarter of this band; its darkest fifth is all ring, or texture
            hidden[n] = np.quantile(ring, 0.2) > RING_HIDDEN * np.median(beside)
    return np.asarray(hidden[sector] & (away < RING_RADIUS_MM + MARGIN_MM), dtype=np.uint8)


def _pale_heap(view: CardView, window: Window, grey: NDArray[np.float32], places: Array) -> NDArray[np.uint8]:
    """A heap with hardly anything dark: what is a little darker than paper and thicker than print.

    Raises
    ------
    Refused
        ``no_solid`` when there is none.
    """
    away = np.hypot(places[..., 0] - window.centre_mm[0], places[..., 1] - window.centre_mm[1])
    body = ((grey < PAPER_LIKE + 0.02) & (away < window.radius_mm + 1.0)).astype(np.uint8)
    ellipse = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, odd(view.px_per_mm))
    body = np.asarray(cv2.morphologyEx(body, cv2.MORPH_OPEN, ellipse), dtype=np.uint8)
    count, labels, stats, _unused = cv2.connectedComponentsWithStats(body)
    if count < 2 or stats[1:, cv2.CC_STAT_AREA].max() / view.px_per_mm**2 < 2 * MIN_AREA_MM2:
        raise Refused(because("no_solid", _("the window shows paper alone")))
    return np.asarray(labels == 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))).astype(np.uint8)
