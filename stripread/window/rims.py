"""Circles in and around a window: rims, liquid surfaces and bases of vessels, by the steps along their radii."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
from numpy.typing import NDArray

from stripread.card.layout import RING_RADIUS_MM, Window
from stripread.robust import median
from stripread.tuned import tuned
from stripread.window.faint_rim import faint_rim

if TYPE_CHECKING:
    from stripread.card.view import CardView

Array = NDArray[np.float64]

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
_TUNED = tuned("stripread.window")
EDGE_SEEN = _TUNED.number("rim_edge_seen")
RIM_SEEN = _TUNED.number("rim_seen")


@dataclass(frozen=True)
class Circle:
    """A circle on the card (mm) and its edge: the median over the angles of the radial step, less noise."""

    centre_mm: tuple[float, float]
    radius_mm: float
    edge: float


def channel_mean(image: NDArray[Any]) -> NDArray[np.float32]:
    """Mean of the three channels (h, w); numpy is slow over so short an axis."""
    return np.asarray(cv2.transform(image, np.full((1, 3), 1.0 / 3.0, dtype=np.float32)), dtype=np.float32)


def lone_rim(view: CardView, window: Window) -> tuple[Circle, ...]:
    """The one rim that is seen by all of its angles together, or none."""
    image, origin = _smooth_crop(view, window)
    found = faint_rim([np.ascontiguousarray(image[..., k]) for k in range(3)], origin, window.centre_mm)
    return () if found is None else (Circle(*found),)


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
