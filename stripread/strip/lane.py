"""The lane and its surroundings as a map of log ratios to the bare paper: what lies on the card stands out from zero.

The encoded values of a phone are close to a power of the light, so a light gradient or a shadow adds the same amount
to the logarithm of all three channels, and dividing by the paper becomes a subtraction.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from stripread.card.layout import LANE_PRINT_MM, CardLayout
from stripread.robust import MAD_TO_SD, median

if TYPE_CHECKING:
    from stripread.card.view import CardView

Array = NDArray[np.float32]
Mask = NDArray[np.bool_]

REGION_MM = (2.0, 20.2, 144.0, 33.4)  # x, y, w, h: the white between the upper band of patches and the windows
MAX_PX_PER_MM = 3.2  # finer than this adds time, not certainty
LINE_HALF_MM = 0.8  # the printed outline of the lane and its blur
WORDS_BLUR_MM = 0.9  # what blur adds to the words printed above the lane
FLOOR = 3.0  # of 255, added before the logarithm: dark noise must not become large numbers
_LOG = np.log((np.arange(256) + FLOOR) / (255.0 + FLOOR)).astype(np.float32)


@dataclass(frozen=True)
class LaneMap:
    """Log ratios to the paper around the lane.

    ratio (H, W, 3): log of encoded value over that of bare paper there, 0 where the card's print lies.
    known (H, W): neither print nor outside the picture. paper (3, 6): coefficients of the paper's log value.
    px_per_mm; origin_mm: the card's place of pixel (0, 0)'s centre. noise: standard deviation of one pixel (mean of
    channels). clipped: share of the paper at full scale.
    """

    ratio: Array
    known: Mask
    paper: NDArray[np.float64]
    px_per_mm: float
    origin_mm: tuple[float, float]
    noise: float

    def to_px(self, points_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Card millimetres (N, 2) to pixels of this map."""
        return np.asarray((points_mm - np.array(self.origin_mm)) * self.px_per_mm)

    def paper_rgb(self, points_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Encoded value (N, 3), 0 to 1, that bare paper has or would have at the points."""
        log = _terms(points_mm[:, 0], points_mm[:, 1]) @ self.paper.T
        return np.asarray(np.exp(log) * (255.0 + FLOOR) - FLOOR) / 255.0


def lane_map(view: CardView, layout: CardLayout) -> LaneMap:
    """Cut out the lane with some room around it and divide by its paper."""
    offset = view.mm_to_view(np.zeros((1, 2)))[0]
    x, y, w, h = REGION_MM
    left, top = np.maximum(np.floor(offset + np.array([x, y]) * view.px_per_mm).astype(int), 0)
    right, bottom = np.ceil(offset + np.array([x + w, y + h]) * view.px_per_mm).astype(int)
    rgb: NDArray[np.uint8] = view.rgb[top:bottom, left:right]
    inside = view.inside[top:bottom, left:right]
    scale = min(1.0, MAX_PX_PER_MM / view.px_per_mm)
    size = (max(8, round(rgb.shape[1] * scale)), max(8, round(rgb.shape[0] * scale)))
    step = rgb.shape[1] / size[0]
    if scale < 1.0:
        way = cv2.INTER_AREA if scale < 0.6 else cv2.INTER_LINEAR
        rgb = np.asarray(cv2.resize(rgb, size, interpolation=way), dtype=np.uint8)
        inside = cv2.resize(inside.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    ppm = view.px_per_mm / step
    first = (np.array([left, top]) + (step - 1) / 2 - offset) / view.px_per_mm
    origin = (float(first[0]), float(first[1]))
    known = inside & ~_printed(layout, rgb.shape[:2], ppm, origin)
    log = np.asarray(cv2.LUT(rgb, _LOG), dtype=np.float32)
    paper = _fit_paper(log, known, ppm, origin)
    xs = origin[0] + np.arange(rgb.shape[1]) / ppm
    ys = origin[1] + np.arange(rgb.shape[0]) / ppm
    ratio = np.asarray(cv2.subtract(log, _surface(paper, xs, ys)), dtype=np.float32)
    ratio[~known] = 0.0
    np.maximum(ratio, -1.6, out=ratio)
    _mend_words(ratio, ppm, origin)
    _mend_outline(ratio, layout, ppm, origin)
    mean = cv2.transform(ratio, np.full((1, 3), 1.0 / 3.0, np.float32))
    some = np.s_[::3]  # rows: enough for a median
    flat = (np.abs(mean[some, 1:] - mean[some, :-1]) / np.sqrt(2.0))[known[some, 1:] & known[some, :-1]]
    noise = MAD_TO_SD * median(flat) if flat.size else 0.01
    return LaneMap(ratio, known, paper, ppm, origin, max(noise, 0.0015))


def _terms(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Second-order surface in card coordinates: (N, 6)."""
    u, v = (x - 74.0) / 70.0, (y - 37.0) / 16.0
    return np.stack([np.ones_like(u), u, v, u * u, u * v, v * v], axis=1)


def _surface(paper: NDArray[np.float64], xs: NDArray[np.float64], ys: NDArray[np.float64]) -> Array:
    """The paper's log value on a grid: (H, W, 3)."""
    u, v = ((xs - 74.0) / 70.0).astype(np.float32), ((ys - 37.0) / 16.0).astype(np.float32)
    planes = []
    for k in paper.astype(np.float32):
        along = np.stack([k[0] + k[1] * u + k[3] * u * u, u, np.ones_like(u)])
        planes.append(np.stack([np.ones_like(v), k[4] * v, k[2] * v + k[5] * v * v], axis=1) @ along)
    return np.asarray(cv2.merge(planes), dtype=np.float32)


def _fit_paper(log: Array, known: Mask, ppm: float, origin: tuple[float, float]) -> NDArray[np.float64]:
    """Robust second-order surface through the paper, one row of coefficients a channel.

    The paper is the most common bright thing: a first guess from the brighter part, then only what lies close to the
    surface counts. What lies below by more than its scatter is a strip, a mark or a shadow.
    """
    stride = max(1, round(1.2 * ppm))
    rows, cols = np.nonzero(known[::stride, ::stride])
    rows, cols = rows * stride, cols * stride
    if len(rows) < 40:
        return np.tile(np.array([-0.2, 0, 0, 0, 0, 0.0]), (3, 1))
    values = log[rows, cols].astype(np.float64)
    terms = _terms(origin[0] + cols / ppm, origin[1] + rows / ppm)
    mean = values.mean(axis=1)
    weight = (mean >= np.quantile(mean, 0.45)).astype(np.float64)
    ridge = np.diag([1e-9, 1e-3, 1e-3, 1e-2, 1e-2, 1e-2]) * len(rows) * 0.01
    fit = np.zeros((6, 3))
    for scale in (0.06, 0.04, 0.025, 0.02):
        normal = terms.T @ (terms * weight[:, None]) + ridge
        fit = np.linalg.solve(normal, terms.T @ (values * weight[:, None]))
        miss = np.abs(values - terms @ fit).max(axis=1)
        weight = 1.0 / (1.0 + (miss / scale) ** 4)
    return np.asarray(fit.T)


def _printed(layout: CardLayout, shape: tuple[int, int], ppm: float, origin: tuple[float, float]) -> Mask:
    """Where patches, markers and windows are printed, with a little room for blur."""
    mask = np.zeros(shape, dtype=bool)
    boxes = [p.rect_mm for p in layout.patches if p.srgb != (255, 255, 255)]
    boxes += [(m.corners_mm[0][0], m.corners_mm[0][1], 15.0, 15.0) for m in layout.markers]
    for x, y, w, h in boxes:
        x0, x1 = (x - 0.7 - origin[0]) * ppm, (x + w + 0.7 - origin[0]) * ppm
        y0, y1 = (y - 0.7 - origin[1]) * ppm, (y + h + 0.7 - origin[1]) * ppm
        if x1 > 0 and y1 > 0:
            mask[max(0, int(y0)) : max(0, int(np.ceil(y1))), max(0, int(x0)) : max(0, int(np.ceil(x1)))] = True
    return mask


def _mend_words(ratio: Array, ppm: float, origin: tuple[float, float]) -> None:
    """Take out the words printed above the lane, which blur into a grey bar like a small shadow.

    A closing down the columns fills what is dark over little more than the words' height from above and below; a strip
    that lies over the words is wider than that and stays.
    """
    for x, y, w, h in LANE_PRINT_MM:
        tall = max(3, 2 * round((h + WORDS_BLUR_MM) * ppm / 2) + 1)
        top, bottom = round((y - origin[1]) * ppm) - tall, round((y + h - origin[1]) * ppm) + tall
        x0, x1 = (max(0, round((at - origin[0]) * ppm)) for at in (x - WORDS_BLUR_MM, x + w + WORDS_BLUR_MM))
        block = ratio[max(0, top) : max(0, bottom), x0:x1]
        if block.shape[0] > tall and block.shape[1] > 0:
            filled = cv2.morphologyEx(np.ascontiguousarray(block), cv2.MORPH_CLOSE, np.ones((tall, 1), np.uint8))
            inner = slice(tall // 2, block.shape[0] - tall // 2)
            block[inner] = filled[inner]


def _mend_outline(ratio: Array, layout: CardLayout, ppm: float, origin: tuple[float, float]) -> None:
    """Bridge the printed outline of the lane from its two sides, so that it is no edge of anything."""
    x, y, w, h = layout.lane_mm
    for axis, at in ((0, y), (0, y + h), (1, x), (1, x + w)):
        centre = (at - origin[1 - axis]) * ppm
        low, high = int(np.floor(centre - LINE_HALF_MM * ppm)), int(np.ceil(centre + LINE_HALF_MM * ppm))
        if low < 0 or high >= ratio.shape[axis]:
            continue
        part = (np.arange(low + 1, high) - low) / (high - low)
        if axis == 0:
            ratio[low + 1 : high] = (1 - part)[:, None, None] * ratio[low] + part[:, None, None] * ratio[high]
        else:
            ends = ratio[:, low][:, None], ratio[:, high][:, None]
            ratio[:, low + 1 : high] = (1 - part)[None, :, None] * ends[0] + part[None, :, None] * ends[1]
