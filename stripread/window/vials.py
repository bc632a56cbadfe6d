"""Find the vials in the card's windows by their rims, and the part of each where the paper shows through the liquid.

A circle above the card stays a circle in the rectified view, only larger and pushed outward (parallax): so one search
for circles finds base, liquid surface and rim. The paper is seen through the liquid where all of them overlap.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from stripread.card.layout import RING_RADIUS_MM, CardLayout, Window
from stripread.window.rims import REACH_MM, RIM_SEEN, Circle, channel_mean, find_circles, lone_rim, printed

if TYPE_CHECKING:
    from stripread.card.view import CardView

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

MARGIN_MM, MARGIN_SHARE = 0.9, 0.22  # inside every circle: wall, meniscus, blur; less in narrow ones
MIN_AREA_MM2 = 6.0
SLIVER_MM = 1.6
GOOD_AREA_MM2 = 30.0
RING_INSIDE_MM = 1.0
RING_MARGIN_MM = 2.5  # the ring may lie just outside the area that is averaged


@dataclass(frozen=True)
class Vial:
    """A vessel in a window: its circles (strongest first), and the usable liquid as a mask of the view.

    mask (h, w) at origin (row, column) of the view; area_mm2 of it; centre_mm its middle. ring: contrast of the printed
    ring seen through the liquid, the natural log of paper over ring in its clearest channel; NaN when not in sight.
    """

    circles: tuple[Circle, ...]
    mask: Mask
    origin: tuple[int, int]
    area_mm2: float
    centre_mm: tuple[float, float]
    ring: float

    def pixels(self, view: CardView) -> Array:
        """Encoded pixels of the liquid (n, 3), 0 to 1."""
        y, x = self.origin
        h, w = self.mask.shape
        return view.rgb[y : y + h, x : x + w][self.mask].astype(np.float64) / 255.0

    def places_mm(self, view: CardView) -> Array:
        """Card points (n, 2) of the same pixels."""
        rows, columns = np.nonzero(self.mask)
        return view.view_to_mm(np.stack([columns + self.origin[1], rows + self.origin[0]], axis=1).astype(np.float64))


@dataclass(frozen=True)
class Vials:
    """What stands in the two windows; None where no vessel was seen."""

    sample: Vial | None
    blank: Vial | None


def find_vials(view: CardView, layout: CardLayout) -> Vials:
    """Look for a vessel in each window."""
    return Vials(find_vial(view, layout.windows["sample"]), find_vial(view, layout.windows["blank"]))


def find_vial(view: CardView, window: Window) -> Vial | None:
    """The vessel in one window, or None: no rim, or no liquid area that can be used."""
    circles = tuple(c for c in find_circles(view, window) if not printed(c, window))
    vial = _inside(view, window, circles) if circles and circles[0].edge >= RIM_SEEN else None
    return vial or _inside(view, window, lone_rim(view, window))


def _inside(view: CardView, window: Window, circles: tuple[Circle, ...]) -> Vial | None:
    """The vessel with these circles, or None where they leave no liquid."""
    # Bubbles and crescents make circles too, which cut the area down: with fewer circles there is more of it.
    best: tuple[tuple[int, int], Mask, Mask, float] | None = None
    best_level = 0.0
    for most in (len(circles), 3, 2, 1) if circles else ():
        area = _overlap(view, window, circles[:most])
        if area is None:
            continue
        origin, inside = area
        h, w = inside.shape
        pixels = view.rgb[origin[0] : origin[0] + h, origin[1] : origin[1] + w].astype(np.float32) / 255.0
        mask = _liquid(pixels, inside, view.px_per_mm)
        size = float(mask.sum()) / view.px_per_mm**2
        level = float(np.median(channel_mean(pixels)[mask])) if mask.any() else 0.0
        # The wall below the surface is darker than the paper seen through the liquid: brighter goes before larger.
        brighter, alike = level > 1.05 * best_level, level > 0.97 * best_level
        if best is None or best[3] < MIN_AREA_MM2 or (size >= MIN_AREA_MM2 and brighter) or (size > best[3] and alike):
            best, best_level = (origin, inside, mask, size), level
        paper = float(np.quantile(channel_mean(pixels), 0.95))
        if best[3] >= GOOD_AREA_MM2 and best_level > 0.93 * paper:
            break
    if best is None or best[3] < MIN_AREA_MM2:
        return None
    origin, inside, mask, size = best
    rows, columns = np.nonzero(mask)
    middle = view.view_to_mm(np.array([[columns.mean() + origin[1], rows.mean() + origin[0]]]))[0]
    centre = (float(middle[0]), float(middle[1]))
    # Below the wall of a narrow vial the ring is dim in clear liquid too.
    wide = sorted(circle.radius_mm for circle in circles)[len(circles) // 2] > RING_RADIUS_MM + RING_INSIDE_MM
    ring = _ring_contrast(view, window, origin, inside) if wide else float("nan")
    return Vial(circles, mask, origin, size, centre, ring)


def _overlap(view: CardView, window: Window, circles: tuple[Circle, ...]) -> tuple[tuple[int, int], Mask] | None:
    """The part of the view inside the circles: (origin, mask). Weak circles that would leave nothing are left out."""
    x, y = window.centre_mm
    low = np.floor(view.mm_to_view(np.array([[x - REACH_MM, y - REACH_MM]]))[0]).astype(int)
    x0, y0 = (int(v) for v in np.maximum(low, 0))
    side = int(2 * REACH_MM * view.px_per_mm)
    h, w = min(side, view.rgb.shape[0] - y0), min(side, view.rgb.shape[1] - x0)
    ends = view.view_to_mm(np.array([[x0, y0], [x0 + w - 1, y0 + h - 1]], dtype=np.float64))
    across = np.linspace(ends[0, 0], ends[1, 0], w, dtype=np.float32)[None, :]
    down = np.linspace(ends[0, 1], ends[1, 1], h, dtype=np.float32)[:, None]
    kept: Mask | None = None
    for circle in circles:
        away = (across - circle.centre_mm[0]) ** 2 + (down - circle.centre_mm[1]) ** 2
        inside = away < (circle.radius_mm - min(MARGIN_MM, MARGIN_SHARE * circle.radius_mm)) ** 2
        both = inside if kept is None else kept & inside
        if both.sum() / view.px_per_mm**2 >= 2 * MIN_AREA_MM2:
            kept = both
    if kept is None:
        return None
    kept &= view.inside[y0 : y0 + h, x0 : x0 + w]
    if not kept.any():
        return None
    there = np.nonzero(kept.any(axis=1))[0], np.nonzero(kept.any(axis=0))[0]
    margin = round(RING_MARGIN_MM * view.px_per_mm)
    top, left = max(0, int(there[0][0]) - margin), max(0, int(there[1][0]) - margin)
    return (y0 + top, x0 + left), kept[top : int(there[0][-1]) + 1 + margin, left : int(there[1][-1]) + 1 + margin]


def _liquid(pixels: NDArray[np.float32], inside: Mask, px_per_mm: float) -> Mask:
    """The even part of the area, in the brightest of its large levels.

    Edges (the printed ring, bubbles, the foot of the wall, mirror images) are taken out with a margin. Of what is left
    the paper seen through the liquid is the brightest large part: the wall below the surface is darker, mirror images
    are small.
    """
    smooth = cv2.GaussianBlur(pixels, (0, 0), max(0.6, 0.2 * px_per_mm))
    grey = channel_mean(smooth)
    steps = np.hypot(cv2.Sobel(grey, cv2.CV_32F, 1, 0, scale=0.125), cv2.Sobel(grey, cv2.CV_32F, 0, 1, scale=0.125))
    usual = float(np.median(steps[inside]))
    size = max(3, 2 * round(0.4 * px_per_mm) + 1)
    sharp = (steps > max(4.0 * usual, 0.02 / px_per_mm)).astype(np.uint8)
    edges = cv2.dilate(sharp, np.ones((size, size), np.uint8)) > 0
    even = inside & ~edges
    if even.sum() / px_per_mm**2 < 2 * MIN_AREA_MM2:  # a narrow vial has no room for wide margins
        even = inside & ~(cv2.dilate(sharp, np.ones((3, 3), np.uint8)) > 0)
    if even.sum() < 0.2 * inside.sum():
        even = inside
    level = grey[even]
    spread = max(0.02, 3.0 * usual)
    bins = np.arange(level.min() - spread, level.max() + 2 * spread, spread)
    count = np.convolve(np.histogram(level, bins)[0], np.ones(3), mode="same")
    large = np.nonzero(count >= max(0.3 * count.max(), 0.12 * even.sum()))[0]
    if len(large) == 0:
        large = np.array([int(np.argmax(count))])
    top = int(large[-1])
    while top > 0 and count[top - 1] > count[top]:  # from the edge of the brightest hump to its peak
        top -= 1
    centre = float(np.median(level[np.abs(level - (bins[top] + spread / 2)) < 1.5 * spread]))
    kept = even & (np.abs(grey - centre) < 2.0 * spread)
    kept = np.asarray(cv2.erode(kept.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0)
    # Slivers are walls and rims of a like level.
    side = max(3, 2 * round(0.5 * SLIVER_MM * px_per_mm) + 1)
    disc_shaped = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    broad = cv2.morphologyEx(kept.astype(np.uint8), cv2.MORPH_OPEN, disc_shaped) > 0
    return np.asarray(broad if broad.sum() > 0.5 * kept.sum() else kept)


def _ring_contrast(view: CardView, window: Window, origin: tuple[int, int], inside: Mask) -> float:
    """How clearly the printed ring shows through the liquid: ln(paper / ring) in the clearest channel.

    The liquid lifts and shifts the ring a little, so it is looked for among circles near its printed place.
    """
    h, w = inside.shape
    crop = view.rgb[origin[0] : origin[0] + h, origin[1] : origin[1] + w].astype(np.float32) / 255.0
    smooth = np.maximum(cv2.GaussianBlur(crop, (0, 0), max(0.5, 0.12 * view.px_per_mm)), 0.01)
    # One pixel more all round, so that what lies outside is found there and counts as out of sight
    logs = [np.pad(plane, 1).ravel() for plane in cv2.split(np.log(smooth))]
    reach = max(3, 2 * round(RING_MARGIN_MM * view.px_per_mm) + 1)
    near = np.pad(cv2.dilate(inside.astype(np.uint8), np.ones((reach, reach), np.uint8)) > 0, 1).ravel()
    turn = np.arange(48) * (2 * np.pi / 48)
    beam = np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    shift = np.arange(-2.4, 2.41, 0.4)
    centres = np.stack(np.meshgrid(shift, shift), axis=-1).reshape(-1, 2) + np.array(window.centre_mm)

    def places(radius: float) -> NDArray[np.intp]:
        """Where the circles lie in the flat padded planes: (centres, beams)."""
        at = np.rint(view.mm_to_view(centres[:, None, :] + beam * radius)).astype(np.intp)
        x = np.clip(at[..., 0] - origin[1] + 1, 0, w + 1)
        y = np.clip(at[..., 1] - origin[0] + 1, 0, h + 1)
        return np.asarray(y * (w + 2) + x)

    best = float("nan")
    for radius in (7.05, 7.4, 7.75):
        paper, ring = places(radius - 1.1), places(radius)
        seen = near.take(paper) & near.take(ring)
        enough = seen.sum(axis=1) >= turn.size / 4
        if not enough.any():
            continue
        paper, ring, seen = paper[enough], ring[enough], seen[enough]
        middle = (turn.size - 1 - seen.sum(axis=1) // 2)[:, None]
        for plane in logs:
            dips = np.where(seen, plane.take(paper) - plane.take(ring), np.float32(-np.inf))
            dips.sort(axis=1)  # those out of sight come first
            # 2.2: from the encoded signal to light, near enough for a contrast that is only compared with the blank's
            best = float(np.fmax(best, 2.2 * np.take_along_axis(dips, middle, axis=1).max()))
    return best


def disc(view: CardView, window: Window, radius_mm: float = 5.5) -> Vial:
    """The middle of a window taken for liquid, where no rim was seen."""
    x, y = window.centre_mm
    low = np.rint(view.mm_to_view(np.array([[x, y]]) - radius_mm - RING_MARGIN_MM)[0]).astype(int)
    side = int(2 * (radius_mm + RING_MARGIN_MM) * view.px_per_mm)
    columns, rows = np.meshgrid(np.arange(side), np.arange(side))
    inside = np.hypot(columns - side / 2, rows - side / 2) < radius_mm * view.px_per_mm
    origin = (int(low[1]), int(low[0]))
    pixels = view.rgb[low[1] : low[1] + side, low[0] : low[0] + side].astype(np.float32) / 255.0
    mask = _liquid(pixels, inside, view.px_per_mm)
    mask = mask if mask.any() else inside
    area = float(mask.sum()) / view.px_per_mm**2
    circle = Circle(window.centre_mm, 9.0, 0.0)
    return Vial((circle,), mask, origin, area, window.centre_mm, _ring_contrast(view, window, origin, inside))
