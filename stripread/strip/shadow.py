"""Shadow edges near the strip, seen on the bare paper beside it.

A shadow lowers all channels by nearly the same logarithm, and its edge goes on over paper and carrier; a pad's edge
does neither. So only the paper is looked at.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from stripread.card.layout import LANE_PRINT_MM

if TYPE_CHECKING:
    from stripread.strip.lane import LaneMap
    from stripread.strip.search import Place
from stripread.tuned import tuned

Array = NDArray[np.float64]

GAP_MM, DEPTH_MM = 1.2, 2.4  # the paper looked at: this far from the strip's long edges, this deep
WINDOW_MM = 2.5  # means over this length before and after an edge are compared
HALF_BLUR_MM = 0.8  # left out on both sides of the place: the edge itself
STEP_MM = 0.5
PRINT_BLUR_MM = 0.5  # beyond the words printed above the lane: where they lie nothing tells of the light
_TUNED = tuned("stripread.strip")
NEUTRAL_SHARE = _TUNED.number("neutral_share")


@dataclass(frozen=True)
class Shadow:
    """Steps of light near the strip, as log ratio of encoded values (a fifth of the light is about 0.1).

    at_mm (N,): places along the strip. step (N,): the larger of the steps on the two sides, 0 where it is coloured.
    across: step between the two sides of the strip.
    """

    at_mm: Array
    step: Array
    across: float

    def near(self, s0: float, s1: float) -> float:
        """Largest step between s0 and s1 along the strip."""
        here = (self.at_mm >= s0) & (self.at_mm <= s1)
        return float(self.step[here].max(initial=0.0))


def find_shadow(lane: LaneMap, place: Place, span_mm: tuple[float, float], width_mm: float) -> Shadow:
    """Look for steps of light along and across the strip over the span (mm from the dipped end)."""
    s = np.arange(span_mm[0] - 6.0, span_mm[1] + 6.01, STEP_MM)
    levels = []
    for side in (-1.0, 1.0):
        t = side * (width_mm / 2 + GAP_MM + np.arange(0.0, DEPTH_MM + 0.01, 0.4))
        levels.append(_profile(lane, place, s, t))
    steps = np.max([_steps(level) for level in levels], axis=0)
    inner = (s >= span_mm[0]) & (s <= span_mm[1])
    both = levels[1][inner] - levels[0][inner]
    seen = np.isfinite(both).all(axis=1)
    across = float(abs(_neutral(np.median(both[seen], axis=0)[None])[0])) if seen.sum() >= 4 else 0.0
    return Shadow(s, steps, across)


def _profile(lane: LaneMap, place: Place, s: Array, t: Array) -> Array:
    """Median over t of the paper's log ratio at each s: (N, 3), NaN where print lies."""
    grid_s, grid_t = np.meshgrid(s, t, indexing="ij")
    at = place.to_mm(np.stack([grid_s.ravel(), grid_t.ravel()], axis=1))
    px = np.rint(lane.to_px(at)).astype(int)
    height, width = lane.known.shape
    inside = (px[:, 0] >= 0) & (px[:, 0] < width) & (px[:, 1] >= 0) & (px[:, 1] < height)
    px = np.clip(px, 0, [width - 1, height - 1])
    values = lane.ratio[px[:, 1], px[:, 0]].astype(np.float64)
    good = (inside & lane.known[px[:, 1], px[:, 0]] & ~_words(at)).reshape(len(s), len(t))
    out = np.median(values.reshape(len(s), len(t), 3), axis=1)
    out[good.mean(axis=1) < 0.7] = np.nan
    return np.asarray(out)


def _words(at_mm: Array) -> NDArray[np.bool_]:
    """Which points (N, 2) mm lie on the words and the arrow printed above the lane: (N,)."""
    on = np.zeros(len(at_mm), dtype=bool)
    for x, y, w, h in LANE_PRINT_MM:
        low, high = np.array([x, y]) - PRINT_BLUR_MM, np.array([x + w, y + h]) + PRINT_BLUR_MM
        on |= ((at_mm > low) & (at_mm < high)).all(axis=1)
    return on


def _steps(level: Array) -> Array:
    """Size of the step at each place: after less before, beyond what the slopes on both sides explain."""
    n, blur = round(WINDOW_MM / STEP_MM), round(HALF_BLUR_MM / STEP_MM)
    out = np.zeros(len(level))
    if len(level) < 2 * (n + blur) + 1:
        return out
    windows = np.moveaxis(np.lib.stride_tricks.sliding_window_view(level, n + 1, axis=0), 2, 1)  # (K, n + 1, 3)
    before, after = windows[: -(n + 2 * blur)], windows[n + 2 * blur :]
    gap = (n + 2 * blur) * STEP_MM
    slope = ((before[:, -1] - before[:, 0]) + (after[:, -1] - after[:, 0])) / 2 / (n * STEP_MM)
    jump = np.median(after, axis=1) - np.median(before, axis=1)
    inner = np.where(np.sign(slope) == np.sign(jump), np.minimum(np.abs(slope * gap), np.abs(jump)), 0.0)
    step = np.abs(_neutral(np.sign(jump) * (np.abs(jump) - inner)))
    out[n + blur : n + blur + len(step)] = np.where(np.isfinite(step), step, 0.0)
    return out


def _neutral(step: Array) -> Array:
    """The common step of the channels (N,), 0 where they differ too much to be a shadow."""
    mean = step.mean(axis=1)
    spread = step.max(axis=1) - step.min(axis=1)
    return np.asarray(np.where(spread <= NEUTRAL_SHARE * np.abs(mean) + 0.02, mean, 0.0))
