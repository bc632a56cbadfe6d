"""Colour of a solid and the share of it that is pale: unconverted white in a dark oxide.

Light mixes linearly inside a pixel: a pixel that holds a share f of pale grain has light D + f (P - D), with D and P
the levels of the dark and of the pale. The mean of f over the area is therefore right whatever the grain size, also for
grains smaller than a pixel. A threshold would count none or all of those. The interval is that of the share of this
heap's area: what is seen of it is no sample but the thing itself, so that the scatter of f counts only for what is not
seen (edge and shine). Another handful of the batch scatters more, the more so the fewer and larger the grains are.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
from numpy.typing import NDArray

from stripread.card.layout import RING_RADIUS_MM, Window, layout
from stripread.colour import srgb_decode, srgb_encode
from stripread.correction.tone import N_TONE, basis, log_light
from stripread.errors import Refused
from stripread.reasons import Reason, because
from stripread.solid.edge import PAPER_LIKE, left_out_mm2
from stripread.solid.levels import DARK_MOST, DARK_TOP, DARK_USUAL, DARK_USUAL_SD, dark_level, grain_shares, pale_level
from stripread.solid.share import mixed_doubt, scatter, share_interval
from stripread.tuned import tuned
from stripread.window.paper import paper_light
from stripread.window.rims import RIM_SEEN, channel_mean, find_circles, printed

if TYPE_CHECKING:
    from stripread.card.view import CardView
    from stripread.correction.fit import ColourFix

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Rect = tuple[float, float, float, float]

MARGIN_MM = 1.0  # from the edge of the heap or the vessel
MIN_AREA_MM2 = 15.0
_TUNED = tuned("stripread.solid")
PERHAPS_SHINE = _TUNED.number("perhaps_shine")
SHINE = _TUNED.number("solid_shine")
FEW_MIRRORS = _TUNED.count("few_mirrors")
HALO_PX = (5, 5)  # a mirror image and its blur
CLIPPED = 253
DARK_LEAST_MM2 = _TUNED.number("dark_least_mm2")
SPECK_TOP = _TUNED.number("speck_top")
MANY_SPECKS = _TUNED.count("many_specks")


@dataclass(frozen=True)
class SolidSample:
    """The solid as seen. light (h, w, 3): linear, relative to bare paper there; mask (h, w): of the solid, without edge
    and shine; encoded (3,): mean as written; whole_mm2: area of the solid with both; shine: share left out; centre_mm;
    left_out_mm2: beside it, what may be pale solid.
    """

    light: NDArray[np.float32]
    mask: Mask
    encoded: Array
    whole_mm2: float
    shine: float
    centre_mm: tuple[float, float]
    px_per_mm: float
    origin: tuple[int, int]
    left_out_mm2: float = 0.0


@dataclass(frozen=True)
class SolidEstimate:
    """lab (3,), sd (3,): mean colour. pale, interval: share. dark, bright: the two levels, share of paper white.
    share (h, w): pale share of each pixel. spread_mm: distance over which f stays alike.
    """

    lab: Array
    sd: Array
    pale: float
    interval: tuple[float, float]
    dark: float
    bright: float
    share: NDArray[np.float32]
    reasons: tuple[Reason, ...]


def sample_solid(view: CardView, where: Window | Rect, fix: ColourFix) -> SolidSample:
    """Cut out the solid: a region in mm as given, else what lies in the window.

    Raises
    ------
    Refused
        ``no_solid`` when nothing but paper is there, or too little.
    """
    rect = where if isinstance(where, tuple) else _square(where)
    crop, at = view.crop(rect)
    h, w = crop.shape[:2]
    if h < 4 or w < 4:
        raise Refused(because("no_solid", "the region lies outside the card"))
    avoid = [] if isinstance(where, tuple) else [(where.centre_mm, where.radius_mm)]

    def decode(encoded: Array) -> Array:
        """Light by the photo's own tone curve: half-tones matter here, and the card's ramp does tell those."""
        return np.asarray(np.exp(log_light(encoded) + basis(encoded) @ fix.theta[:N_TONE]))

    paper = paper_light(view, layout(), avoid, decode)
    columns, rows = np.meshgrid(np.arange(w) / view.px_per_mm + at[0], np.arange(h) / view.px_per_mm + at[1])
    places = np.stack([columns, rows], axis=-1)
    white = paper.at(places.reshape(-1, 2)).reshape(h, w, 3)
    light = (decode(np.arange(256) / 255.0)[crop] / white).astype(np.float32)
    if isinstance(where, tuple):
        solid = inside = np.ones((h, w), dtype=bool)
        left_out = 0.0
    else:
        solid = _outline(view, where, light, places)
        kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, _odd(MARGIN_MM * view.px_per_mm))
        inside = np.asarray(cv2.erode(solid.astype(np.uint8), kernel, borderValue=0) > 0)
        left_out = left_out_mm2(view, where, solid, channel_mean(light), places)
    whole = float(solid.sum()) / view.px_per_mm**2
    shine = _mirrors(light, _channel_min(crop) >= CLIPPED, inside)
    if shine.any():
        shine = inside & (cv2.dilate(shine.astype(np.uint8), np.ones(HALO_PX, np.uint8)) > 0)
    mask = inside & ~shine
    if mask.sum() / view.px_per_mm**2 < min(MIN_AREA_MM2, 0.5 * rect[2] * rect[3]):
        raise Refused(because("no_solid", f"{mask.sum() / view.px_per_mm**2:.0f} square mm can be used"))
    mean_light = srgb_decode(crop[mask] / 255.0).mean(axis=0)
    centre = places[mask].mean(axis=0)
    origin = view.mm_to_view(np.array([at]))[0]
    return SolidSample(
        light,
        mask,
        srgb_encode(mean_light),
        whole,
        float(shine.sum() / max(inside.sum(), 1)),
        (float(centre[0]), float(centre[1])),
        view.px_per_mm,
        (round(float(origin[1])), round(float(origin[0]))),
        left_out,
    )


def _mirrors(light: NDArray[np.float32], clipped: Mask, inside: Mask) -> Mask:
    """Where a lamp is mirrored, for light (h, w, 3) relative to paper and the pixels at the white end of the scale."""
    least = _channel_min(light)
    maybe = inside & ((least > PERHAPS_SHINE) | clipped)
    count, labels = cv2.connectedComponents(maybe.astype(np.uint8))
    if count - 1 <= FEW_MIRRORS:
        return maybe
    sure = np.unique(labels[maybe & (least > SHINE)])
    return np.asarray(np.isin(labels, sure[sure > 0]))


def _channel_min(image: NDArray[Any]) -> NDArray[Any]:
    return np.asarray(np.minimum(np.minimum(image[..., 0], image[..., 1]), image[..., 2]))


def _square(window: Window) -> Rect:
    reach = window.radius_mm + 3.0
    return (window.centre_mm[0] - reach, window.centre_mm[1] - reach, 2 * reach, 2 * reach)


def _outline(view: CardView, window: Window, light: NDArray[np.float32], places: Array) -> Mask:
    """The solid in a window: the hull of all that is dark, less the paper that reaches into it; where too little is
    dark for that, the inside of a vessel.
    """
    smooth = cv2.GaussianBlur(channel_mean(light), (0, 0), max(0.5, 0.15 * view.px_per_mm))
    grey: NDArray[np.float32] = np.asarray(smooth, dtype=np.float32)
    away = np.hypot(places[..., 0] - window.centre_mm[0], places[..., 1] - window.centre_mm[1])
    near = away < window.radius_mm + 1.0
    dark = ((grey < DARK_TOP) & near).astype(np.uint8)
    thin = max(3, 2 * round(0.45 * view.px_per_mm) + 1)  # thicker than the printed ring
    solid = cv2.morphologyEx(dark, cv2.MORPH_OPEN, np.ones((thin, thin), np.uint8))
    on_ring = np.abs(away - RING_RADIUS_MM) < 1.0
    pieces = np.where(on_ring, solid, cv2.morphologyEx(dark, cv2.MORPH_OPEN, np.ones((2, 2), np.uint8)))
    if pieces.sum() / view.px_per_mm**2 < DARK_LEAST_MM2:
        specks = ((grey < SPECK_TOP) & near & ~on_ring).astype(np.uint8)
        if cv2.connectedComponents(specks)[0] > MANY_SPECKS:  # a wall or a shadow hangs together
            pieces = specks
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, _odd(MARGIN_MM * view.px_per_mm))
    if pieces.sum() / view.px_per_mm**2 < DARK_LEAST_MM2:
        return np.asarray(_vessel(view, window, grey, places) > 0)
    joined = _largest_group(pieces, 7.0 * view.px_per_mm)
    rows, columns = np.nonzero(joined)
    hull = cv2.convexHull(np.stack([columns, rows], axis=1).astype(np.int32))
    filled = np.zeros(dark.shape, np.uint8)
    cv2.drawContours(filled, [hull], -1, 1, cv2.FILLED)
    # Paper inside the hull hangs together with the paper outside of it; a grain does not, or is darker than paper.
    ellipse = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, _odd(view.px_per_mm))
    paper = cv2.morphologyEx((grey > PAPER_LIKE).astype(np.uint8), cv2.MORPH_OPEN, ellipse)
    _, labels = cv2.connectedComponents(paper)
    outside = np.unique(labels[filled == 0])
    rest = filled * ~np.isin(labels, outside[outside > 0])
    # A heap nearly as white as paper would go the same way: what is left is then not mostly dark.
    large = cv2.erode(rest.astype(np.uint8), kernel, borderValue=0).sum() / view.px_per_mm**2 > 2 * MIN_AREA_MM2
    if large and (rest.sum() > 0.6 * filled.sum() or (rest > 0)[dark > 0].sum() > 0.5 * rest.sum()):
        filled = rest.astype(np.uint8)
    return np.asarray(filled > 0)


def _odd(pixels: float) -> tuple[int, int]:
    side = max(3, 2 * round(pixels) + 1)
    return side, side


def _largest_group(pieces: NDArray[np.uint8], gap_px: float) -> Mask:
    """Pieces nearer to each other than the gap, in the largest such group."""
    grown = cv2.dilate(pieces, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, _odd(gap_px / 2)))
    _, labels = cv2.connectedComponents(grown)
    sizes = np.bincount(labels[pieces > 0])
    return np.asarray((pieces > 0) & (labels == int(np.argmax(sizes))))


def _vessel(view: CardView, window: Window, grey: NDArray[np.float32], places: Array) -> NDArray[np.uint8]:
    """The inside of the two clearest circles in the window."""
    circles = [c for c in find_circles(view, window) if not printed(c, window)]
    if not circles or circles[0].edge < RIM_SEEN:
        return _pale_heap(view, window, grey, places)
    filled = np.ones(places.shape[:2], np.uint8)
    for circle in circles[:2]:
        off = np.hypot(places[..., 0] - circle.centre_mm[0], places[..., 1] - circle.centre_mm[1])
        filled[off >= circle.radius_mm] = 0
    return filled


def _pale_heap(view: CardView, window: Window, grey: NDArray[np.float32], places: Array) -> NDArray[np.uint8]:
    """A heap with hardly anything dark: what is a little darker than paper and thicker than print.

    Raises
    ------
    Refused
        ``no_solid`` when there is none.
    """
    away = np.hypot(places[..., 0] - window.centre_mm[0], places[..., 1] - window.centre_mm[1])
    body = ((grey < PAPER_LIKE + 0.02) & (away < window.radius_mm + 1.0)).astype(np.uint8)
    ellipse = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, _odd(view.px_per_mm))
    body = np.asarray(cv2.morphologyEx(body, cv2.MORPH_OPEN, ellipse), dtype=np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(body)
    if count < 2 or stats[1:, cv2.CC_STAT_AREA].max() / view.px_per_mm**2 < 2 * MIN_AREA_MM2:
        raise Refused(because("no_solid", "the window shows paper alone"))
    return np.asarray(labels == 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))).astype(np.uint8)


def estimate_solid(sample: SolidSample, fix: ColourFix) -> SolidEstimate:
    """Colour and pale share with their doubts."""
    grey = channel_mean(sample.light)
    level = grey[sample.mask].astype(np.float64)
    reasons: list[Reason] = []
    dark, texture, has_dark = dark_level(level)
    bright, bright_sd = pale_level(grey, sample.mask, sample.px_per_mm, dark)
    if not has_dark or bright < 2.2 * dark:
        reasons.append(because("not_dark_and_pale", f"levels {dark:.2f} and {bright:.2f} of paper white"))
    share = grain_shares(grey, sample.mask, dark, bright, texture)
    pale = float(np.clip(share[sample.mask].mean(), 0.0, 1.0))
    lowest, veiled = pale, 0.0
    if dark > DARK_MOST:
        reasons.append(because("dark_is_light", f"{dark:.0%} of paper white"))
        share = np.where(sample.mask, np.clip((grey - DARK_USUAL) / (bright - DARK_USUAL), 0.0, 1.15), 0.0)
        share = np.asarray(share, dtype=np.float32)
        pale = float(np.clip(share[sample.mask].mean(), 0.0, 1.0))
        veiled = (1.0 - pale) * DARK_USUAL_SD / (bright - DARK_USUAL)
    variance = scatter(share, sample.mask, sample.px_per_mm)
    doubt = float(np.hypot(mixed_doubt(share[sample.mask], bright_sd / max(bright - dark, 0.05)), veiled))
    unseen = 1.0 - min(float(sample.mask.sum()) / sample.px_per_mm**2 / sample.whole_mm2, 1.0)
    interval = share_interval(pale, float(np.hypot(np.sqrt(variance * unseen), doubt)))
    interval = (min(interval[0], lowest), interval[1])
    if sample.left_out_mm2:  # no more can be known of it than that it may all be pale
        beside = sample.left_out_mm2 / (sample.whole_mm2 + sample.left_out_mm2)
        reasons.append(because("edge_like_paper", f"{beside:.0%} of the area"))
        interval = (interval[0], max(interval[1], min(interval[1] * (1.0 - beside) + beside, 1.0)))
    batch = share_interval(pale, float(np.hypot(np.sqrt(variance), doubt)))
    lab, cov, _ = fix.to_lab(sample.encoded[None], np.array([sample.centre_mm]), np.full((1, 3), 1e-6), dye=False)
    if sample.shine > 0.02:
        reasons.append(because("shine_on_solid", f"{sample.shine:.0%}"))
    if batch[1] - batch[0] > 0.2:
        reasons.append(because("few_grains", f"between {batch[0]:.0%} and {batch[1]:.0%} for the whole batch"))
    return SolidEstimate(
        lab[0], np.sqrt(np.maximum(np.diag(cov), 0.0)), pale, interval, dark, bright, share, tuple(reasons)
    )
