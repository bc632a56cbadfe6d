"""The card's fiducials in a photo: which, and where their corners lie to a small part of a pixel.

Looked for in a small grey picture first, where it is cheap; then at the working size; then, with contrast stretched and
other windows, once more. Markers still missing are looked for at the place where the found ones put them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
from numpy.typing import NDArray

from stripread.card.edges import refine_squares
from stripread.card.layout import DICTIONARY, MARKER_MM, layout

if TYPE_CHECKING:
    from stripread.photo import Photo

Array = NDArray[np.float64]
Grey = NDArray[np.uint8]
Attempt = Callable[[Grey], list[tuple[int, Array]]]

ENOUGH = 3  # markers; from these the places of the others follow
CELLS = 6  # 4 x 4 bits and the black border
MIN_CELLS_RIGHT = 33  # of 36, for a marker found by its predicted place


@dataclass(frozen=True)
class Sighting:
    """One marker: its id, corners (4, 2) working px in the layout's order, their sd (px).

    edge_px (4,): 10-90 % width of each side's edge, px; NaN where the edges could not be fitted.
    """

    id: int
    corners: Array
    sd_px: float
    edge_px: Array


def find_markers(photo: Photo) -> tuple[Sighting, ...]:
    """Find the card's markers; empty when there are none. Two cards in one picture give the same id twice."""
    grey = np.asarray(cv2.cvtColor(photo.pixels, cv2.COLOR_RGB2GRAY), dtype=np.uint8)
    found: list[tuple[int, Array]] = []
    for attempt in _ATTEMPTS:
        found = _merge(found, attempt(grey))
        if len({number for number, _ in found}) >= ENOUGH:
            break
    if not found:
        return ()
    sightings = _refine(grey, found)
    missing = _missing(found)
    while missing:
        new = _look_at_predicted(grey, sightings, missing)
        sightings += new
        missing = [number for number in missing if number not in {s.id for s in new}] if new else []
    return tuple(sightings)


@cache
def _bit_patterns() -> dict[int, NDArray[np.bool_]]:
    """Cells of each marker, True where white: (6, 6)."""
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, DICTIONARY))
    return {m.id: cv2.aruco.generateImageMarker(dictionary, m.id, CELLS) > 127 for m in layout().markers}


@cache
def _detector(window_min: int, window_max: int, constant: int) -> Any:  # noqa: ANN401 - cv2 has no types
    """Detector for our ids only: fewer look-alikes, and faster. It numbers them in the layout's order."""
    whole = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, DICTIONARY))
    ours = cv2.aruco.Dictionary(whole.bytesList[[m.id for m in layout().markers]], whole.markerSize, 2)
    parameters = cv2.aruco.DetectorParameters()
    parameters.adaptiveThreshWinSizeMin = window_min
    parameters.adaptiveThreshWinSizeMax = window_max
    parameters.adaptiveThreshWinSizeStep = max(1, window_max - window_min)
    parameters.adaptiveThreshConstant = constant
    parameters.minMarkerPerimeterRate = 0.05
    return cv2.aruco.ArucoDetector(ours, parameters)


def _detect(grey: Grey, detector: Any) -> list[tuple[int, Array]]:  # noqa: ANN401
    corners, numbers, _ = detector.detectMarkers(grey)
    if numbers is None:
        return []
    ids = [m.id for m in layout().markers]
    return [(ids[int(n)], c.reshape(4, 2).astype(np.float64)) for n, c in zip(numbers.ravel(), corners, strict=True)]


def _shrunk(grey: Grey, long_side_px: int) -> tuple[Grey, int]:
    """The picture averaged down by a whole number to about ``long_side_px``, and that number."""
    shrink = max(1, round(max(grey.shape) / long_side_px))
    height, width = grey.shape[0] // shrink, grey.shape[1] // shrink
    whole = grey[: height * shrink, : width * shrink]
    return np.asarray(cv2.resize(whole, (width, height), interpolation=cv2.INTER_AREA), dtype=np.uint8), shrink


def _attempt(long_side_px: int, window: tuple[int, int], constant: int, *, stretch: bool = False) -> Attempt:
    """One way to look: size of the picture, threshold windows (px), how much darker than its surroundings is dark."""

    def look(grey: Grey) -> list[tuple[int, Array]]:
        small, shrink = _shrunk(grey, long_side_px)
        if stretch:
            low, high = np.percentile(small[::4, ::4], [1.0, 99.0])
            small = np.asarray(cv2.convertScaleAbs(small, None, 255.0 / max(high - low, 8.0)), dtype=np.uint8)
        return [(n, (quad + 0.5) * shrink - 0.5) for n, quad in _detect(small, _detector(*window, constant))]

    return look


# From the cheapest, which finds the card in nearly every photo, to those for blurred, dark and far cards.
_ATTEMPTS: tuple[Attempt, ...] = (
    _attempt(500, (9, 9), 7),
    _attempt(1000, (15, 15), 7),
    _attempt(1000, (9, 45), 4, stretch=True),
    _attempt(2500, (7, 27), 6),
    _attempt(500, (9, 27), 3, stretch=True),
)


def _missing(found: list[tuple[int, Array]]) -> list[int]:
    seen = {number for number, _ in found}
    return [m.id for m in layout().markers if m.id not in seen]


def _merge(first: list[tuple[int, Array]], second: list[tuple[int, Array]]) -> list[tuple[int, Array]]:
    """Both lists without the repeats: the same id at the same place."""
    merged = list(first)
    for number, quad in second:
        side = float(np.linalg.norm(quad[0] - quad[2]))
        if not any(n == number and np.linalg.norm(q.mean(0) - quad.mean(0)) < 0.5 * side for n, q in merged):
            merged.append((number, quad))
    return merged


def _refine(grey: Grey, found: list[tuple[int, Array]]) -> list[Sighting]:
    refined = refine_squares(grey, np.stack([quad for _, quad in found]))
    sightings = []
    for n, (number, quad) in enumerate(found):
        if refined.good[n]:
            sightings.append(Sighting(number, refined.corners[n], max(float(refined.sd[n]), 0.03), refined.width[n]))
        else:  # something lies over a side: the detector's own corners, with their larger error
            sightings.append(Sighting(number, quad, 1.5, np.full(4, np.nan)))
    return sightings


def _look_at_predicted(grey: Grey, sightings: list[Sighting], missing: list[int]) -> list[Sighting]:
    """Markers that the detector missed, where the found ones put them, if their bits are there."""
    table = {m.id: np.array(m.corners_mm) for m in layout().markers}
    on_card = np.concatenate([table[s.id] for s in sightings])
    in_photo = np.concatenate([s.corners for s in sightings])
    to_photo, _ = cv2.findHomography(on_card, in_photo, cv2.RANSAC, 5.0)
    if to_photo is None:
        return []
    quads = np.stack([cv2.perspectiveTransform(table[i][None], to_photo)[0] for i in missing])
    height, width = grey.shape
    inside = np.asarray(((quads > 1) & (quads < np.array([width - 2, height - 2]))).all(axis=(1, 2)))
    if not inside.any():
        return []
    ids = [i for i, fits in zip(missing, inside.tolist(), strict=True) if fits]
    refined = refine_squares(grey, quads[inside], rounds=3)
    return [
        Sighting(number, refined.corners[n], max(float(refined.sd[n]), 0.05), refined.width[n])
        for n, number in enumerate(ids)
        if refined.good[n] and _cells_right(grey, refined.corners[n], number) >= MIN_CELLS_RIGHT
    ]


def _cells_right(grey: Grey, quad: Array, number: int) -> int:
    """How many of the 36 cells inside ``quad`` are as dark or light as marker ``number`` has them."""
    corners_mm = np.array([[0, 0], [MARKER_MM, 0], [MARKER_MM, MARKER_MM], [0, MARKER_MM]], dtype=np.float32)
    to_photo = cv2.getPerspectiveTransform(corners_mm, quad.astype(np.float32))
    inner = (np.arange(CELLS)[:, None] + np.array([0.35, 0.5, 0.65])).ravel() * MARKER_MM / CELLS
    at = cv2.perspectiveTransform(np.stack(np.meshgrid(inner, inner), axis=-1).reshape(1, -1, 2), to_photo)[0]
    at = at.astype(np.float32).reshape(3 * CELLS, 3 * CELLS, 2)
    seen = cv2.remap(grey, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    cells = seen.reshape(CELLS, 3, CELLS, 3).astype(np.float64).mean(axis=(1, 3))
    white = _bit_patterns()[number]
    level = 0.5 * (float(np.median(cells[white])) + float(np.median(cells[~white])))
    return int(((cells > level) == white).sum())
