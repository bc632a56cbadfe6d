"""The third material: grey silver among dark oxide and pale chloride, and what it leaves of the pale share.

Sugar turns oxide to silver powder, whose grey lies between the other two. An even grey tells nothing of what it is made
of: oxide and chloride in grains much smaller than a pixel have the same light. Two things tell grains of chloride apart
from it. They are brighter than silver is, and what is brighter than the grey around has an edge. So the share is read
twice: with all grey as silver, for the lower end, and with all grey as oxide and chloride, for the upper one.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from stripread.solid.levels import (
    DARK_MOST,
    DARK_USUAL,
    PALE_BOTTOM,
    PALE_SD,
    PALE_USUAL,
    core_px,
    grain_shares,
    pale_level,
)
from stripread.solid.overshoot import lifted
from stripread.tuned import tuned

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Light = NDArray[np.float32]

_TUNED = tuned("stripread.solid")
GREY_LEAST = _TUNED.number("grey_least")
SILVER_MOST = _TUNED.number("silver_most")
SURELY_PALE = _TUNED.number("surely_pale")
EVEN = _TUNED.number("even_grey")
EVEN_LEAST = _TUNED.number("even_least")
EVEN_MM = 0.6  # side of the square within which a grey is even
NEAR_MM = 1.0  # so near an even grey, the ground under a grain is grey too
BAND = _TUNED.number("grey_band")
PALE_LEAST = _TUNED.number("pale_least")
PERHAPS_CHLORIDE = _TUNED.pair("perhaps_chloride")
BESIDE_OXIDE = _TUNED.pair("beside_oxide")
MUCH_OXIDE = _TUNED.number("much_oxide")
OXIDE_SHADE = _TUNED.number("oxide_shade")
SHADE = _TUNED.number("chloride_shade")
GLINT = _TUNED.number("silver_glint")
SPECKS_LEAST = _TUNED.number("specks_least")
FEW_PEAKS = _TUNED.number("few_peaks")
PATCHES_LEAST = _TUNED.number("patches_least")
FEW_BROAD = _TUNED.number("few_broad_peaks")
BRIGHTER = _TUNED.number("brighter_chloride")
LOOSE = _TUNED.number("loose_light")
LOOSE_LEAST = _TUNED.number("loose_least")
EDGE_PX = (7, 7)  # a grain with its blurred edge, at its widest
SHARP_PX = (5, 5)  # and at its sharpest


@dataclass(frozen=True)
class GreyPart:
    """Even grey in a solid. level: share of paper white; spread: of its texture, natural log; share: of the area;
    commonest: level of all that is light; where (h, w): near it.
    """

    level: float
    spread: float
    share: float
    commonest: float
    where: Mask


@dataclass(frozen=True)
class GreyShares:
    """Pale share of each pixel (h, w): likely, with all grey as silver (low), and as oxide and chloride (high)."""

    likely: Light
    low: Light
    high: Light
    bright: float
    bright_sd: float


def grey_part(grey: Light, mask: Mask, px_per_mm: float, dark: float) -> GreyPart | None:
    """The even grey in ``grey`` (h, w), shares of paper white, inside ``mask``; None where there is too little of it.

    dark: level of the dark part; where that may be oxide, its own lighter side is no grey.

    A mix of grains as small as a pixel scatters from place to place more than powder does, so that it is not even.
    """
    side = max(3, 2 * round(EVEN_MM * px_per_mm / 2) + 1)
    inside = cv2.erode(mask.astype(np.uint8), np.ones((side, side), np.uint8), borderValue=0) > 0
    mean = cv2.blur(grey, (side, side))
    spread = np.sqrt(np.maximum(cv2.blur(grey * grey, (side, side)) - mean * mean, 0.0))
    pale = _pale_mode(grey[mask])
    most = min(SILVER_MOST, SHADE * pale) if pale > SILVER_MOST else SILVER_MOST
    least = max(GREY_LEAST, OXIDE_SHADE * dark) if dark <= DARK_MOST else GREY_LEAST
    even = inside & (spread < EVEN * mean) & (mean > least) & (mean < most)
    share = float(even.sum()) / max(int(inside.sum()), 1)
    if share < EVEN_LEAST:
        return None
    logs = np.log(grey[even & (grey > GREY_LEAST)])
    bins = np.linspace(np.log(GREY_LEAST), np.log(SILVER_MOST) + 0.3, 41)
    count = np.convolve(np.histogram(logs, bins)[0], [1, 2, 3, 2, 1], mode="same")
    mode = float(bins[int(np.argmax(count))] + (bins[1] - bins[0]) / 2)
    below = logs[logs <= mode]
    texture = float(np.sqrt(np.mean((below - mode) ** 2))) if len(below) else 0.0
    near = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * round(NEAR_MM * px_per_mm) + 1,) * 2)
    around = cv2.dilate(even.astype(np.uint8), near) > 0
    return GreyPart(float(np.exp(mode)), float(np.clip(texture, 0.04, 0.4)), share, pale, np.asarray(around))


def _pale_mode(level: Light) -> float:
    """The commonest level (share of paper white) among the light pixels of ``level`` (n,); 0 where there are none."""
    light = np.log(level[level > GREY_LEAST])
    if len(light) < 50:
        return 0.0
    bins = np.linspace(np.log(GREY_LEAST), 0.1, 50)
    count = np.convolve(np.histogram(light, bins)[0], [1, 2, 3, 2, 1], mode="same")
    return float(np.exp(bins[int(np.argmax(count))] + (bins[1] - bins[0]) / 2))


def surely_pale(dark: float, edge: float) -> float:
    """Level (share of paper white) that no speck of silver on ``dark`` reaches, for the photo's overshoot of edges."""
    return lifted(SURELY_PALE, dark, edge)


def grey_shares(  # noqa: PLR0917
    grey: Light, mask: Mask, px_per_mm: float, part: GreyPart, dark: tuple[float, float], sure: float = SURELY_PALE
) -> GreyShares:
    """The pale share with a grey part, read both ways. dark: level of the oxide and its texture; sure: surely pale."""
    top = max(sure, part.level * float(np.exp(BAND * part.spread)))
    if part.commonest > SILVER_MOST:  # most of what is light is chloride: its lower half is not all silver
        top = max(sure, min(top, (part.level + part.commonest) / 2.0))
    bright, bright_sd = pale_level(grey, mask & (grey > top), px_per_mm, part.level)
    if bright < part.level + 0.1:
        bright, bright_sd = max(PALE_USUAL, part.level + 0.2), PALE_SD
    on_grey = grain_shares(grey, mask, part.level, bright, part.spread)
    on_dark = grain_shares(grey, mask, dark[0], bright, dark[1])
    pale = mask & (grey > top)
    silver = np.where(part.where, on_grey, np.where(_around(pale), on_dark, 0.0))
    least = min(bright - 1.64 * bright_sd, PALE_LEAST)
    mixed = np.clip((grey - min(dark[0], DARK_USUAL)) / (least - min(dark[0], DARK_USUAL)), 0.0, 1.0)
    # A facet of silver mirrors a lamp in a pixel or two: what is surely pale is broader.
    broad = cv2.morphologyEx(pale.astype(np.uint8), cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)) > 0
    low = np.where(broad, np.clip((grey - top) / max(bright - top, 0.05), 0.0, 1.0), 0.0) - GLINT * part.where
    # As light as the darkest chloride, a grey is as likely that.
    first, last = BESIDE_OXIDE if float((grey[mask] < DARK_MOST).mean()) > MUCH_OXIDE else PERHAPS_CHLORIDE
    chloride = float(np.clip((part.level - first) / (last - first), 0.0, 1.0))
    likely = np.clip((1.0 - chloride) * silver + chloride * mixed, low, mixed)
    likely, low, mixed = (np.where(mask, x, 0.0).astype(np.float32) for x in (likely, low, mixed))
    return GreyShares(likely, low, mixed, bright, bright_sd)


def grey_grains(grey: Light, mask: Mask, px_per_mm: float, levels: tuple[float, float]) -> Mask:
    """Grains (h, w) large enough to show their own level, of one level, and no lighter than silver is.

    levels: of the dark and of the pale, shares of paper white. Patches of silver too small a part of the area to be an
    even grey are found here; and what the pale level was read from may itself be silver.
    """
    dark, bright = levels
    most = min(SILVER_MOST, SHADE * bright) if bright > SILVER_MOST else SILVER_MOST
    light = (mask & (grey > max(GREY_LEAST, OXIDE_SHADE * dark))).astype(np.uint8)
    core = cv2.erode(light, np.ones((core_px(px_per_mm),) * 2, np.uint8), borderValue=0) > 0
    count, labels = cv2.connectedComponents(light)
    at, level = labels[core], grey[core].astype(np.float64)
    pixels = np.maximum(np.bincount(at, minlength=count), 1)
    mean = np.bincount(at, level, count) / pixels
    spread = np.sqrt(np.maximum(np.bincount(at, level**2, count) / pixels - mean**2, 0.0))
    silver = (mean > 0.0) & (mean < most) & (spread < EVEN * mean)
    silver[0] = False
    return np.asarray(silver[labels])


def level_of_silver(grey: Light, mask: Mask, bright: float) -> bool:
    """Whether the pale level, read from the cores of the largest grains, is silver's: much is a good deal brighter."""
    if bright > SILVER_MOST:
        return False
    brighter = (mask & (grey > BRIGHTER * bright)).astype(np.uint8)
    over = cv2.morphologyEx(brighter, cv2.MORPH_OPEN, np.ones((2, 2), np.uint8))
    return float(over.sum()) > FEW_BROAD * float((mask & (grey > PALE_BOTTOM)).sum())


def perhaps_silver(  # noqa: PLR0917
    grey: Light,
    mask: Mask,
    share: Light,
    levels: tuple[float, float],
    grains: Mask | None = None,
    sure: float = SURELY_PALE,
) -> float:
    """What part, 0 to 1, of the pale share (h, w; of the pixels in ``mask``) may be specks of silver.

    That is what lies in no grain brighter than silver, and all of it where hardly any pixel is so bright. levels: of
    the dark and of the pale. grains (h, w): known to be no brighter, whatever their facets are. sure: surely pale.

    Specks beside a bright grain are lost in its blurred edge, which counts whole: they lie there as densely as farther
    away, where those that pass for the dark's own texture count for nothing.
    """
    counted = np.where(mask, np.clip(share, 0.0, 1.0), 0.0)
    peaks = mask & (grey > sure)
    if grains is not None:
        peaks &= ~grains
    whole = float(counted.sum())
    # A facet lifts a pixel of silver or two over what silver is, seldom a square of them.
    broad = cv2.morphologyEx(peaks.astype(np.uint8), cv2.MORPH_OPEN, np.ones((2, 2), np.uint8))
    if levels[1] < sure:  # the grains' own level is no lighter than silver may be lifted to
        return 1.0
    if float(peaks.sum()) <= FEW_PEAKS * whole or float(broad.sum()) <= FEW_BROAD * whole:
        return 1.0
    loose = float(counted[~_around(peaks)].sum())
    if loose > max(LOOSE_LEAST * int(mask.sum()), LOOSE * whole):
        return 1.0
    free = mask & ~_around(peaks)
    edges = mask & _around(peaks, SHARP_PX) & ~peaks
    beside = float(np.mean(grey[free])) if free.any() else levels[0]
    hidden = max(beside - levels[0], 0.0) / max(levels[1] - levels[0], 0.05) * int(edges.sum())
    return min((float(counted[~_around(peaks, SHARP_PX)].sum()) + hidden) / whole, 1.0)


def all_gaps_silver(grey: Light, mask: Mask, bright: float) -> float:
    """Pale share (mean over ``mask``) where nothing is dark: the gaps between grains hold silver as light as can be."""
    silver = PERHAPS_CHLORIDE[0]
    return float(np.clip((grey[mask] - silver) / max(bright - silver, 0.05), 0.0, 1.0).mean())


def _around(pale: Mask, size: tuple[int, int] = EDGE_PX) -> Mask:
    """The pixels of grains and of their blurred edges."""
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, size)
    return np.asarray(cv2.dilate(pale.astype(np.uint8), kernel) > 0)
