"""Levels of a solid's dark and pale parts, as shares of paper white, and the pale share of each pixel between them."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from stripread.tuned import tuned

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

_TUNED = tuned("stripread.solid")
DARK_TOP = _TUNED.number("dark_top")
PALE_BOTTOM = _TUNED.number("pale_bottom")
PALE_USUAL = _TUNED.number("pale_usual")
PALE_SD = _TUNED.number("pale_sd")
DARK_USUAL = _TUNED.number("dark_usual")
DARK_USUAL_SD = _TUNED.number("dark_usual_sd")
DARK_MOST = _TUNED.number("dark_most")
CORE_MM = _TUNED.number("core_mm")
BAND = _TUNED.number("texture_band")


def grain_shares(
    grey: NDArray[np.float32], mask: Mask, dark: float, bright: float, texture: float
) -> NDArray[np.float32]:
    """Pale share of each pixel (h, w). A pixel within the dark's own texture says nothing. Beyond it is grain; with it
    counts the blurred edge around it.
    """
    share = ((grey - dark) / (bright - dark)).astype(np.float32)
    top = min(dark * np.exp(BAND * texture), dark + 0.35 * (bright - dark))
    grain = (mask & (grey > top)).astype(np.uint8)
    around = cv2.dilate(grain, np.ones((5, 5), np.uint8)) > 0
    return np.where(around, np.clip(share, -0.1, 1.15), 0.0).astype(np.float32)


def dark_level(level: Array) -> tuple[float, float, bool]:
    """Dark solid in ``level`` (N,): its level, its texture's spread (natural log, with noise), and if there is any.

    The mode of what is dark, and the spread below it mirrored: what lies above may be grains. Powder's texture is a
    factor on its light, so that its logarithm is what is even on both sides.
    """
    dark = level[level < DARK_TOP]
    if len(dark) < max(50, 0.01 * len(level)):
        return DARK_USUAL, 0.3, False
    logs = np.log(np.maximum(dark, 0.003))
    bins = np.linspace(np.log(0.003), np.log(DARK_TOP), 61)
    count = np.convolve(np.histogram(logs, bins)[0], [1, 2, 3, 2, 1], mode="same")
    mode = float(bins[int(np.argmax(count))] + (bins[1] - bins[0]) / 2)
    below = logs[logs <= mode]
    if len(below) < 20:
        below = np.sort(logs)[:20]
    if np.mean(np.abs(np.log(np.maximum(level, 0.003)) - mode) < 0.4) < 0.35:
        # Fine grains everywhere: hardly a pixel is purely dark, so the darkest stand for it.
        mode = min(mode, float(np.log(max(np.quantile(level, 0.03), 0.003))))
    return float(np.exp(mode)), float(np.clip(np.sqrt(np.mean((below - mode) ** 2)), 0.04, 0.6)), True


def pale_level(grey: NDArray[np.float32], mask: Mask, px_per_mm: float, dark: float) -> tuple[float, float]:
    """Level of the pale solid in ``grey`` (h, w) and its doubt, from the cores of grains; else the usual one."""
    pale = (mask & (grey > max(PALE_BOTTOM, dark + 0.4 * (PALE_USUAL - dark)))).astype(np.uint8)
    core = cv2.erode(pale, np.ones((core_px(px_per_mm),) * 2, np.uint8)) > 0
    count = int(core.sum())
    if count >= max(12, 0.1 * px_per_mm**2):
        level = float(np.median(grey[core]))
        return level, max(0.04, PALE_SD / (1.0 + count / px_per_mm**2))
    return max(PALE_USUAL, dark + 0.2), PALE_SD


def core_px(px_per_mm: float) -> int:
    """Side, in pixels, of the square that fits into a grain around each pixel of its core."""
    return max(3, 2 * round(CORE_MM * px_per_mm) + 1)
