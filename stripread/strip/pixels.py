"""Which pixels of a pad count: inside with a margin, not shining, of the pad's own colour."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from stripread.robust import MAD_TO_SD, median, medians
from stripread.tuned import tuned

if TYPE_CHECKING:
    from stripread.card.view import CardView

Mask = NDArray[np.bool_]
Array = NDArray[np.float64]

MARGIN_MM = 0.8  # wet rim, misplacement and blur stay outside
MIN_MARGIN_PX = 1.5
_TUNED = tuned("stripread.strip")
GLARE = _TUNED.number("glare")
BRIGHTER = _TUNED.number("brighter")
UNEVEN = _TUNED.number("pad_uneven")
GAMMA = 2.2  # rough transfer of a phone; only used to tell added light from colour
_LINEAR = ((np.arange(256) / 255.0) ** GAMMA).astype(np.float32)
_LOG = np.log(np.arange(256) + 3.0).astype(np.float32)


@dataclass(frozen=True)
class PadRegion:
    """One pad: its place, the pixels of the view that count, and what was noticed on it.

    quad_mm (4, 2): corners, dipped end first, as (start, end, end, start) along the two long sides. mask (h, w) and
    origin (y0, x0): pixels of the view. glare, uneven, clipped: shares of the inner pad. shadow: a shadow edge crosses
    it. score: contrast of the pad to its carrier (log ratio). paper_rgb (3,): encoded value (0 to 1) of the bare paper
    beside it. carrier, carrier_origin: pixels of bare carrier next to the pad, None if there is none.
    """

    quad_mm: Array
    mask: Mask
    origin: tuple[int, int]
    glare: float
    uneven: float
    clipped: float
    shadow: bool
    score: float
    paper_rgb: Array
    carrier: Mask | None = None
    carrier_origin: tuple[int, int] | None = None

    @property
    def left(self) -> float:
        """Share of the inner pad that counts."""
        return max(0.0, 1.0 - self.glare - self.uneven)


def cover(view: CardView, quad_mm: Array, margin_mm: float) -> tuple[Mask, tuple[int, int]]:
    """Pixels of the view whose centres lie in the quad (4, 2) shrunk by the margin; the mask's origin (y0, x0)."""
    quad = view.mm_to_view(quad_mm)
    centre = quad.mean(axis=0)
    one, two = quad[1] - quad[0], quad[3] - quad[0]
    half = np.array([np.hypot(*one), np.hypot(*two)]) / 2
    unit = np.stack([one / (2 * half[0]), two / (2 * half[1])])
    margin = max(margin_mm * view.px_per_mm, MIN_MARGIN_PX if margin_mm > 0 else 0.0)
    inner = np.maximum(half - margin, 0.25 * half)
    height, width = view.rgb.shape[:2]
    low = np.clip(np.floor(quad.min(axis=0)).astype(int), 0, [width - 1, height - 1])
    high = np.clip(np.ceil(quad.max(axis=0)).astype(int) + 1, low + 1, [width, height])
    xs, ys = np.arange(low[0], high[0]) - centre[0], np.arange(low[1], high[1]) - centre[1]
    s = np.abs(xs[None, :] * unit[0, 0] + ys[:, None] * unit[0, 1])
    t = np.abs(xs[None, :] * unit[1, 0] + ys[:, None] * unit[1, 1])
    mask = (s <= inner[0]) & (t <= inner[1])
    mask &= view.inside[low[1] : high[1], low[0] : high[0]]
    return mask, (int(low[1]), int(low[0]))


def usable(view: CardView, mask: Mask, origin: tuple[int, int], paper_rgb: Array) -> tuple[Mask, float, float, float]:
    """The part of the mask that counts, and the shares that shine, differ from the rest, and are clipped.

    ``paper_rgb`` (3,): the bare paper, linear.

    Shine adds the lamp's own light to the pad's: in linear values all channels rise by about the same part of the
    paper's. The base is the darker part of the pad, so that a large shine can't pass for the pad.
    """
    y0, x0 = origin
    block = view.rgb[y0 : y0 + mask.shape[0], x0 : x0 + mask.shape[1]]
    count = int(mask.sum())
    if count == 0:
        return mask, 0.0, 0.0, 0.0
    white = np.maximum(paper_rgb, 0.05).astype(np.float32) ** GAMMA
    linear = np.asarray(cv2.LUT(np.ascontiguousarray(block), _LINEAR), dtype=np.float32) / white
    soft = cv2.blur(linear, (3, 3)) if min(mask.shape) > 12 else linear
    inside = soft[mask]
    level = inside.mean(axis=1)
    middle = median(level)
    base = medians(inside[level <= middle])
    rise = soft - base
    noise = MAD_TO_SD * median(np.abs(level - middle))
    limit = GLARE + 3.0 * min(noise, 0.03)
    bright = cv2.transform(soft, np.full((1, 3), 1.0 / 3.0, np.float32)) > BRIGHTER
    shine = (rise.min(axis=2) > limit) | bright | ((block.min(axis=2) >= 251) & (paper_rgb.max() < 0.97))
    shine &= mask
    if shine.any():
        reach = max(1, round(0.25 * view.px_per_mm))
        shine = cv2.dilate(shine.astype(np.uint8), np.ones((2 * reach + 1, 2 * reach + 1), np.uint8)) > 0
    left = mask & ~shine
    odd = _odd(block, left)
    clipped = float((block[mask] >= 254).any(axis=1).mean())
    return left & ~odd, float((mask & shine).sum()) / count, float(odd.sum()) / count, clipped


def _odd(block: NDArray[np.uint8], mask: Mask) -> Mask:
    """Coherent part of the mask whose colour is off the pad's median: a dried edge, a bubble, a stain."""
    if mask.sum() < 20:
        return np.zeros_like(mask)
    log = np.asarray(cv2.LUT(np.ascontiguousarray(block), _LOG), dtype=np.float32)
    size = max(3, 2 * (min(mask.shape) // 12) + 1)
    weight = cv2.blur(mask.astype(np.float32), (size, size))
    mean = cv2.blur(log * mask[:, :, None], (size, size)) / np.maximum(weight, 1e-3)[:, :, None]
    off = np.abs(mean - medians(log[mask])).max(axis=2)
    noise = MAD_TO_SD * median(off[mask])
    return np.asarray(mask & (off > max(UNEVEN, 3.5 * noise)))
