"""Where a strip may lie: the pattern of its pads and its carrier matched over place, angle and direction.

A pad differs from what lies on both sides across the strip, and in the same way. The product of the two differences
is large there and small at a light gradient or along a shadow edge, where they have opposite signs. It is as large on
the bare paper between two strips; so a pad must differ from the paper by itself as well.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from stripread.kind import StripKind
    from stripread.strip.lane import Array, LaneMap
from stripread.tuned import tuned

COARSE_PX_PER_MM = 1.0
COARSE_DEG = (-15.0, -10.0, -5.0, 0.0, 5.0, 10.0, 15.0)
FINE_DEG = (2.5, 1.2)  # tried on both sides of the best so far
GAP_MM, BAND_MM = 1.0, 2.5  # beside the strip: left out (edge, shadow, water), then compared with
_TUNED = tuned("stripread.strip")
PAD_CEILING = _TUNED.number("pad_ceiling")
ROLL_MM = 25.0  # of roll paper, whose pieces differ in length, that much is matched
CARRIER_WEIGHT = _TUNED.number("carrier_weight")
CARRIER_CEILING = _TUNED.number("carrier_ceiling")
LUMINANCE_WEIGHT = _TUNED.number("luminance_weight")
CHROMA_WEIGHT = _TUNED.number("chroma_weight")


@dataclass(frozen=True)
class Place:
    """A strip's axis: its dipped end (x, y) in mm, the direction it points to (rad) and how well it matched."""

    x: float
    y: float
    angle: float
    score: float
    pad_score: float
    carrier_score: float

    @property
    def along(self) -> NDArray[np.float64]:
        """Unit vector from the dipped end to the other."""
        return np.array([np.cos(self.angle), np.sin(self.angle)])

    @property
    def across(self) -> NDArray[np.float64]:
        """Unit vector to the right of ``along`` in the picture (y down)."""
        return np.array([-np.sin(self.angle), np.cos(self.angle)])

    def to_mm(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Strip coordinates (s along, t across) (N, 2) to card mm."""
        return np.asarray(np.array([self.x, self.y]) + points[:, :1] * self.along + points[:, 1:] * self.across)


def coarse_map(lane: LaneMap) -> tuple[Array, float]:
    """The map at ``COARSE_PX_PER_MM`` in weighted opponent channels (H, W, 3), and its px per mm."""
    factor = min(1.0, COARSE_PX_PER_MM / lane.px_per_mm)
    height, width = lane.ratio.shape[:2]
    size = (round(width * factor), round(height * factor))
    small = cv2.resize(lane.ratio, size, interpolation=cv2.INTER_AREA) if factor < 1.0 else lane.ratio
    third = np.full(3, 1.0 / 3.0)
    mix = np.stack([LUMINANCE_WEIGHT * third, CHROMA_WEIGHT * ([1, 0, 0] - third), CHROMA_WEIGHT * ([0, 0, 1] - third)])
    return np.asarray(cv2.transform(small, mix.astype(np.float32)), dtype=np.float32), lane.px_per_mm * size[0] / width


def search(lane: LaneMap, kind: StripKind) -> Place:
    """The best place of a strip of this kind."""
    small, ppm = coarse_map(lane)
    best = max((_best_at(small, ppm, lane, kind, np.radians(a)) for a in COARSE_DEG), key=lambda p: p.score)
    for step in FINE_DEG:
        middle = best.angle if np.cos(best.angle) > 0 else best.angle - np.pi
        near = (_best_at(small, ppm, lane, kind, middle + np.radians(d)) for d in (-step, step))
        best = max([best, *near], key=lambda p: p.score)
    return best


def _best_at(small: Array, ppm: float, lane: LaneMap, kind: StripKind, angle: float) -> Place:
    """The best place at one angle, either way round."""
    height, width = small.shape[:2]
    centre = ((width - 1) / 2, (height - 1) / 2)
    pad_px = int(np.ceil(abs(np.sin(angle)) * width / 2)) + 2  # rows that the turned map needs above and below
    cos, sin = np.cos(angle), np.sin(angle)
    tall = height + 2 * pad_px
    forward: NDArray[np.float64] = np.array(  # turned pixel -> map pixel
        [
            [cos, -sin, centre[0] - cos * centre[0] + sin * (tall - 1) / 2],
            [sin, cos, centre[1] - sin * centre[0] - cos * (tall - 1) / 2],
        ]
    )
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    turned = cv2.warpAffine(small, forward, (width, tall), flags=flags, borderMode=cv2.BORDER_CONSTANT)
    carrier, pads = _contrasts(np.asarray(turned, dtype=np.float32), ppm, kind)
    middle = pattern_middle(kind)
    at = [search_centre(p.offset_mm, p.length_mm, kind) - middle for p in kind.pads]
    rest_at = _rest_centre(kind) - middle
    best, total = Place(0.0, 0.0, 0.0, -1.0, 0.0, 0.0), np.zeros(carrier.shape, dtype=np.float32)
    for sign in (1, -1):
        if sign > 0 or not _same_from_both_ends(kind):
            total = np.zeros(carrier.shape, dtype=np.float32)
            for place, contrast in zip(at, pads, strict=True):
                _add_shifted(total, contrast, sign * place * ppm)
            total /= len(kind.pads)
        rest = np.zeros(carrier.shape, dtype=np.float32)
        _add_shifted(rest, carrier, sign * rest_at * ppm)
        score = total + CARRIER_WEIGHT * rest
        _, top, _, (column, row) = cv2.minMaxLoc(score)
        if top <= best.score:
            continue
        step = lane.px_per_mm / ppm
        full = (forward @ np.array([column, row, 1.0]) + 0.5) * step - 0.5
        way = float(angle if sign > 0 else angle + np.pi)
        x, y = np.array(lane.origin_mm) + full / lane.px_per_mm - middle * np.array([np.cos(way), np.sin(way)])
        best = Place(float(x), float(y), way, top, float(total[row, column]), float(rest[row, column]))
    return best


def pattern_middle(kind: StripKind) -> float:
    """Middle of all pads from the dipped end; of roll paper, of the piece that is matched."""
    end = kind.pads[-1].offset_mm + kind.pads[-1].length_mm
    return (kind.pads[0].offset_mm + (min(end, ROLL_MM) if kind.is_roll else end)) / 2


@lru_cache(maxsize=16)
def _same_from_both_ends(kind: StripKind) -> bool:
    """Whether the pads alone look the same from either end."""
    middle = pattern_middle(kind)
    ahead = [(p.offset_mm + p.length_mm / 2 - middle, p.length_mm) for p in kind.pads]
    return bool(np.allclose(ahead, [(-at, length) for at, length in reversed(ahead)], atol=0.05))


def search_centre(offset_mm: float, length_mm: float, kind: StripKind) -> float:
    """Centre of a pad from the dipped end; of roll paper, whose length varies, of a piece at the dipped end."""
    return offset_mm + min(length_mm, ROLL_MM) / 2 if kind.is_roll else offset_mm + length_mm / 2


def _rest_centre(kind: StripKind) -> float:
    """Middle of the bare carrier beyond the last pad, from the dipped end."""
    end = kind.pads[-1].offset_mm + kind.pads[-1].length_mm
    return (end + kind.length_mm) / 2


def _contrasts(turned: Array, ppm: float, kind: StripKind) -> tuple[Array, list[Array]]:
    """Contrast of a box to both sides across: for the bare carrier, and for each pad; (H, W) each, at box centres."""
    rows = max(2, round(kind.width_mm * ppm))
    band = max(2, round(BAND_MM * ppm))
    away = round((kind.width_mm / 2 + GAP_MM + BAND_MM / 2) * ppm)
    mid = cv2.blur(turned, (1, rows), borderType=cv2.BORDER_REPLICATE)
    side = cv2.blur(turned, (1, band), borderType=cv2.BORDER_REPLICATE)
    up, down = np.empty_like(side), np.empty_like(side)
    up[away:], up[:away] = side[:-away], side[:1]
    down[:-away], down[-away:] = side[away:], side[-1:]
    above, below = mid - up, mid - down

    def box(one: Array, two: Array, length_mm: float) -> Array:
        width = max(2, round(length_mm * ppm))
        a, b, own = (cv2.blur(v, (width, 1), borderType=cv2.BORDER_CONSTANT) for v in (one, two, mid))
        product, square = (cv2.transform(v, np.ones((1, 3), np.float32)) for v in (a * b, own * own))
        return np.asarray(np.sqrt(np.clip(product, 0.0, square)), dtype=np.float32)

    pads = {}
    for length in {p.length_mm for p in kind.pads}:
        contrast = box(above, below, min(length, ROLL_MM) if kind.is_roll else length)
        pads[length] = PAD_CEILING * contrast / (contrast + PAD_CEILING)
    rest = kind.length_mm - kind.pads[-1].offset_mm - kind.pads[-1].length_mm
    carrier = np.zeros(turned.shape[:2], dtype=np.float32)
    if rest > 4.0:  # cut at the ceiling before the sum: a pad's corner in the box must not pass for bare carrier
        high, low = (np.clip(v, -CARRIER_CEILING, CARRIER_CEILING) for v in (above, below))
        carrier = box(high, low, rest - 1.0)
    return carrier, [pads[p.length_mm] for p in kind.pads]


def _add_shifted(total: Array, values: Array, by_px: float) -> None:
    """Add ``values`` so that column c gets what was at c + by_px; nothing where nothing was."""
    n = round(by_px)
    width = values.shape[1]
    if n >= 0:
        total[:, : max(0, width - n)] += values[:, n:]
    else:
        total[:, -n:] += values[:, : max(0, width + n)]
