"""Find the vials in the card's windows by their rims, and the part of each where the paper shows through the liquid.

A circle above the card stays a circle in the rectified view, only larger and pushed outward (parallax): so one search
for circles finds base, liquid surface and rim. The paper is seen through the liquid where all of them overlap.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from stripread.card import RING_RADIUS_MM, CardLayout, Window
from stripread.robust import median
from stripread.view import CardView

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

REACH_MM = 22.0  # half side of the square looked at
SEARCH_MM = 9.0  # how far a circle's centre may be from the window's: a careless hand, and parallax of a tall rim
RADII_MM = np.arange(4.0, 18.01, 0.25)
SAMPLE_PX_PER_MM = 4.0
ANGLES = 28
EDGE_MM = 0.25  # an edge is the step from this far inside a circle to this far outside
_QUANTILE = 11  # of the sorted angles
_NEAR = np.arange(-1.0, 1.01, 0.5)
MAX_TRIES = 24
FEW = 1200  # best of the coarse look; the rest is never tried
EDGE_SEEN = 0.009  # of full scale and 0.25 mm: the median edge along a rim, above the noise, that counts as one
RIM_SEEN = 0.014  # the clearest circle of a vessel; noise and shade feign weaker ones
MARGIN_MM = 0.9  # inside every circle: wall, meniscus, blur
MIN_AREA_MM2 = 10.0
GOOD_AREA_MM2 = 30.0
RING_MARGIN_MM = 2.5  # the ring may lie just outside the area that is averaged


@dataclass(frozen=True)
class Circle:
    """A circle on the card (mm) and its edge: the median over the angles of the radial step, less noise."""

    centre_mm: tuple[float, float]
    radius_mm: float
    edge: float


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


def channel_mean(image: NDArray[Any]) -> NDArray[np.float32]:
    """Mean of the three channels (h, w); numpy is slow over so short an axis."""
    return np.asarray(cv2.transform(image, np.full((1, 3), 1.0 / 3.0, dtype=np.float32)), dtype=np.float32)


def find_vials(view: CardView, layout: CardLayout) -> Vials:
    """Look for a vessel in each window."""
    return Vials(find_vial(view, layout.windows["sample"]), find_vial(view, layout.windows["blank"]))


def find_vial(view: CardView, window: Window) -> Vial | None:
    """The vessel in one window, or None: no rim, or no liquid area that can be used."""
    circles = tuple(c for c in find_circles(view, window) if not printed(c, window))
    if not circles or circles[0].edge < RIM_SEEN:
        return None
    # Bubbles and crescents make circles too, which cut the area down: with fewer circles there is more of it.
    best: tuple[tuple[int, int], Mask, Mask, float] | None = None
    best_level = 0.0
    for most in (len(circles), 3, 2, 1):
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
    return Vial(
        circles, mask, origin, size, (float(middle[0]), float(middle[1])), _ring_contrast(view, window, origin, inside)
    )


def find_circles(view: CardView, window: Window, most: int = 6) -> tuple[Circle, ...]:
    """Circles in and around a window, the strongest first, printed ones included.

    Each is scored by a low quantile over its angles of the largest step along the radius: a rim that is half hidden by
    a reflection still counts, a straight edge or a patch does not.
    """
    image, origin = _smooth_crop(view, window)
    planes = [np.ascontiguousarray(image[..., k]) for k in range(3)]
    changes = [np.abs(np.diff(plane[::2], axis=1)) for plane in planes]
    noise = median(np.maximum(np.maximum(changes[0], changes[1]), changes[2]))
    step = np.arange(-SEARCH_MM, SEARCH_MM + 0.1, 1.5)
    grid = np.stack(np.meshgrid(step, step), axis=-1).reshape(-1, 2)
    grid = grid[np.hypot(grid[:, 0], grid[:, 1]) <= SEARCH_MM] + np.array(window.centre_mm)
    coarse = _rim_scores(planes, origin, grid, RADII_MM[::2], slack=2)
    best_few = np.argpartition(coarse, -FEW, axis=None)[-FEW:]
    order = best_few[np.argsort(coarse.flat[best_few])[::-1]]
    near = np.stack(np.meshgrid(_NEAR, _NEAR), axis=-1).reshape(-1, 2)
    found: list[Circle] = []
    tried: list[Circle] = []
    for flat in order:
        c, r = np.unravel_index(flat, coarse.shape)
        start = float(RADII_MM[::2][r])
        if coarse[c, r] - noise < 0.7 * EDGE_SEEN or len(found) >= most or len(tried) >= MAX_TRIES:
            break
        if any(_same(grid[c], start, other, 1.8) for other in tried):
            continue
        radii = start + np.arange(-1.0, 1.01, 0.25)
        fine = _rim_scores(planes, origin, grid[c] + near, radii, slack=1)
        best, shift = np.unravel_index(int(np.argmax(fine)), fine.shape)
        edge, place, radius = float(fine[best, shift]) - noise, grid[c] + near[best], float(radii[shift])
        tried.append(Circle((float(grid[c, 0]), float(grid[c, 1])), start, edge))
        if edge >= EDGE_SEEN and not any(_same(place, radius, other, 1.0) for other in found):
            found.append(Circle((float(place[0]), float(place[1])), radius, edge))
    return tuple(sorted(found, key=lambda circle: -circle.edge))


def _smooth_crop(view: CardView, window: Window) -> tuple[NDArray[np.float32], Array]:
    """The window's surroundings at ``SAMPLE_PX_PER_MM``, encoded 0 to 1, and the card place of its first pixel."""
    x, y = window.centre_mm
    crop, at = view.crop((x - REACH_MM, y - REACH_MM, 2 * REACH_MM, 2 * REACH_MM))
    scale = min(1.0, SAMPLE_PX_PER_MM / view.px_per_mm)
    size = (max(8, round(crop.shape[1] * scale)), max(8, round(crop.shape[0] * scale)))
    small = cv2.resize(np.ascontiguousarray(crop), size, interpolation=cv2.INTER_AREA)
    pixel_mm = crop.shape[1] / view.px_per_mm / size[0]
    image = small.astype(np.float32) / 255.0
    for radius, width in ((RING_RADIUS_MM, 1.1), (window.radius_mm, 0.9)):
        image = _without_print(image, np.array([x - at[0], y - at[1]]) / pixel_mm, radius / pixel_mm, width / pixel_mm)
    smooth = cv2.GaussianBlur(image, (0, 0), max(0.4, 0.25 / pixel_mm)).astype(np.float32)
    return smooth, np.array([at[0], at[1], pixel_mm])


def _without_print(image: NDArray[np.float32], centre: Array, radius: float, width: float) -> NDArray[np.float32]:
    """The image (px) with a printed circle painted over by what lies inside and outside of it, or rims of nothing
    would be found on a bare card.
    """
    h, w = image.shape[:2]
    dx = np.arange(w, dtype=np.float32)[None, :] - np.float32(centre[0])
    dy = np.arange(h, dtype=np.float32)[:, None] - np.float32(centre[1])
    away = np.maximum(np.sqrt(dx * dx + dy * dy), np.float32(1e-3))
    rows, columns = np.nonzero(np.abs(away - radius) < width)
    out = away[rows, columns]
    ends = []
    for end in (radius - width, radius + width):
        scale = np.float32(end) / out
        x, y = centre[0] + dx[0, columns] * scale, centre[1] + dy[rows, 0] * scale
        ends.append(cv2.remap(image, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR).reshape(-1, 3))
    part = ((1.0 + (out - radius) / width) / 2.0).astype(np.float32)[:, None]
    painted = image.copy()
    painted[rows, columns] = ends[0] * (1.0 - part) + ends[1] * part
    return painted


def _rim_scores(
    planes: Sequence[NDArray[np.float32]], origin: Array, centres: Array, radii: Array, slack: int
) -> Array:
    """Score of each centre (C, 2) mm and radius (R,), evenly spaced: (C, R). ``planes``: the channels (h, w).
    ``slack``: radius steps of play at each angle.
    """
    turn = np.arange(ANGLES) * (2 * np.pi / ANGLES)
    hop = round(2 * EDGE_MM / (radii[1] - radii[0]))  # steps along the radius from one side of an edge to the other
    ends = radii[0] - EDGE_MM + (radii[1] - radii[0]) * np.arange(len(radii) + hop)
    start = ((centres - origin[:2]) / origin[2] + 0.5).astype(np.float32)  # rounds to the nearest pixel below
    x, y = (
        (start[:, k, None, None] + (wave * ends[:, None] / origin[2]).astype(np.float32)).astype(np.intp)
        for k, wave in enumerate((np.cos(turn), np.sin(turn)))
    )  # (C, R + hop, A)
    h, w = planes[0].shape
    index = np.clip(y, 0, h - 1) * w + np.clip(x, 0, w - 1)
    step = np.zeros((len(centres), len(radii), ANGLES), dtype=np.float32)
    for plane in planes:
        lines = plane.ravel().take(index)
        np.maximum(step, np.abs(lines[:, hop:] - lines[:, :-hop]), out=step)
    widest = step.copy()
    for k in range(1, slack):
        np.maximum(widest[:, k:], step[:, :-k], out=widest[:, k:])
        np.maximum(widest[:, :-k], step[:, k:], out=widest[:, :-k])
    # A lower quantile would lose rims under a reflection, a higher one would take patches for rims.
    widest.partition(_QUANTILE, axis=2)
    return np.asarray(widest[:, :, _QUANTILE], dtype=np.float64)


def _same(place: Array, radius: float, other: Circle, slack: float) -> bool:
    return bool(np.hypot(*(place - np.array(other.centre_mm))) < slack and abs(radius - other.radius_mm) < slack)


def printed(circle: Circle, window: Window) -> bool:
    """Whether a circle is one that the card itself shows there: the window's outline or the ring in it."""
    off = np.hypot(circle.centre_mm[0] - window.centre_mm[0], circle.centre_mm[1] - window.centre_mm[1])
    # The ring is lifted a little by the liquid's refraction, and has two edges.
    ring = off < 2.5 and -0.6 < circle.radius_mm - RING_RADIUS_MM < 0.8
    outline = off < 0.8 and abs(circle.radius_mm - window.radius_mm) < 0.6
    return bool(ring or outline)


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
        inside = away < max(circle.radius_mm - MARGIN_MM, 0.1) ** 2
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
    return np.asarray(cv2.erode(kept.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0)


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
    area = float(mask.sum()) / view.px_per_mm**2
    circle = Circle(window.centre_mm, 9.0, 0.0)
    return Vial((circle,), mask, origin, area, window.centre_mm, _ring_contrast(view, window, origin, inside))
