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

from stripread.card.layout import Window, layout
from stripread.colour import srgb_decode, srgb_encode
from stripread.correction.tone import N_TONE, basis, log_light
from stripread.errors import Refused
from stripread.reasons import Reason, because
from stripread.solid.edge import left_out_mm2
from stripread.solid.grey import (
    PATCHES_LEAST,
    SPECKS_LEAST,
    all_gaps_silver,
    grey_grains,
    grey_part,
    grey_shares,
    level_of_silver,
    perhaps_silver,
    surely_pale,
)
from stripread.solid.levels import (
    DARK_MOST,
    DARK_USUAL,
    DARK_USUAL_SD,
    PALE_SD,
    PALE_USUAL,
    dark_level,
    grain_shares,
    pale_level,
)
from stripread.solid.outline import MARGIN_MM, MIN_AREA_MM2, odd, outline
from stripread.solid.overshoot import overshoot, unlifted
from stripread.solid.share import EDGE_SD, integral_range, mixed_doubt, scatter, share_interval
from stripread.tuned import tuned
from stripread.window.paper import paper_light
from stripread.window.rims import channel_mean
from stripread.words import _

if TYPE_CHECKING:
    from stripread.card.view import CardView
    from stripread.correction.fit import ColourFix

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Rect = tuple[float, float, float, float]

_TUNED = tuned("stripread.solid")
PERHAPS_SHINE = _TUNED.number("perhaps_shine")
SHINE = _TUNED.number("solid_shine")
FEW_MIRRORS = _TUNED.count("few_mirrors")
HALO_PX = (5, 5)  # a mirror image and its blur
CLIPPED = 253


NOTHING = 1e-4  # a pale share that is none


@dataclass(frozen=True)
class SolidSample:
    """The solid as seen. light (h, w, 3): linear, relative to bare paper there; mask (h, w): of the solid, without edge
    and shine; encoded (3,): mean as written; whole_mm2: area of the solid with both; shine: share left out; centre_mm;
    left_out_mm2: beside it, what may be pale solid; mirrors (h, w): the shine; edge: overshoot of the photo's edges.
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
    mirrors: Mask | None = None
    edge: float = 0.0


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
        raise Refused(because("no_solid", _("the region lies outside the card")))
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
        solid = outline(view, where, light, places)
        kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, odd(MARGIN_MM * view.px_per_mm))
        inside = np.asarray(cv2.erode(solid.astype(np.uint8), kernel, borderValue=0) > 0)
        left_out = left_out_mm2(view, where, solid, channel_mean(light), places)
    whole = float(solid.sum()) / view.px_per_mm**2
    shine = _mirrors(light, _channel_min(crop) >= CLIPPED, inside)
    if shine.any():
        shine = inside & (cv2.dilate(shine.astype(np.uint8), np.ones(HALO_PX, np.uint8)) > 0)
    mask = inside & ~shine
    least = min(MIN_AREA_MM2, 0.5 * rect[2] * rect[3]) * view.px_per_mm**2
    if mask.sum() < least <= inside.sum():  # a heap at the white end of the scale is not all mirror image
        mask = inside
    if mask.sum() < least:
        raise Refused(because("no_solid", _("{mask:.0f} square mm can be used", mask=mask.sum() / view.px_per_mm**2)))
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
        inside & ~mask,
        overshoot(view, layout()),
    )


def _mirrors(light: NDArray[np.float32], clipped: Mask, inside: Mask) -> Mask:
    """Where a lamp is mirrored, for light (h, w, 3) relative to paper and the pixels at the white end of the scale."""
    least = _channel_min(light)
    maybe = inside & ((least > PERHAPS_SHINE) | clipped)
    count, labels = cv2.connectedComponents(maybe.astype(np.uint8))
    if count - 1 <= FEW_MIRRORS:
        return maybe
    sure = np.unique(labels[maybe & (least > SHINE)])
    sure = sure[sure > 0]
    # A lamp is mirrored in few places; many brighter than any grain are grains that a phone has sharpened.
    return np.asarray(np.isin(labels, sure)) if len(sure) <= FEW_MIRRORS else np.zeros_like(inside)


def _channel_min(image: NDArray[Any]) -> NDArray[Any]:
    return np.asarray(np.minimum(np.minimum(image[..., 0], image[..., 1]), image[..., 2]))


def _square(window: Window) -> Rect:
    reach = window.radius_mm + 3.0
    return (window.centre_mm[0] - reach, window.centre_mm[1] - reach, 2 * reach, 2 * reach)


def estimate_solid(sample: SolidSample, fix: ColourFix) -> SolidEstimate:
    """Colour and pale share with their doubts."""
    levels = _shares(sample)
    reasons, share, pale = levels.reasons, levels.share, levels.pale
    variance = max(f(share, sample.mask, sample.px_per_mm) for f in (scatter, integral_range))
    unseen = 1.0 - min(float(sample.mask.sum()) / sample.px_per_mm**2 / sample.whole_mm2, 1.0)
    sd = float(np.hypot(np.sqrt(variance * unseen), levels.doubt))
    interval = share_interval(pale, sd)
    low = share_interval(levels.lowest, sd)[0]
    interval = (
        min(interval[0], low if low > NOTHING else 0.0),
        max(interval[1], share_interval(levels.highest, sd + EDGE_SD * levels.highest)[1] if levels.grey else 0.0),
    )
    interval = _with_mirrors(sample, levels, interval)
    if sample.left_out_mm2:  # no more can be known of it than that it may all be pale
        beside = sample.left_out_mm2 / (sample.whole_mm2 + sample.left_out_mm2)
        reasons.append(because("edge_like_paper", _("{beside:.0%} of the area", beside=beside)))
        interval = (interval[0], max(interval[1], min(interval[1] * (1.0 - beside) + beside, 1.0)))
    batch = share_interval(pale, float(np.hypot(np.sqrt(variance), levels.doubt)))
    lab, cov, _unused = fix.to_lab(sample.encoded[None], np.array([sample.centre_mm]), np.full((1, 3), 1e-6), dye=False)
    if sample.shine > 0.02:
        reasons.append(because("shine_on_solid", _("{shine:.0%}", shine=sample.shine)))
    if batch[1] - batch[0] > 0.2:
        reasons.append(
            because(
                "few_grains",
                _("between {batch_0:.0%} and {batch_1:.0%} for the whole batch", batch_0=batch[0], batch_1=batch[1]),
            )
        )
    return SolidEstimate(
        lab[0],
        np.sqrt(np.maximum(np.diag(cov), 0.0)),
        pale,
        interval,
        levels.dark,
        levels.bright,
        share,
        tuple(reasons),
    )


def _with_mirrors(sample: SolidSample, levels: _Shares, interval: tuple[float, float]) -> tuple[float, float]:
    """The interval with what was left out as shine: dark that mirrors a lamp, or grains that a phone sharpened."""
    mirrors = sample.mirrors
    if mirrors is None or not mirrors.any():
        return interval
    whole = sample.mask | mirrors
    counted = grain_shares(channel_mean(sample.light), whole, levels.dark, levels.bright, levels.texture)
    part = float(mirrors.sum()) / float(whole.sum())
    pale = float(np.clip(counted[mirrors], 0.0, 1.0).mean())
    return interval[0] * (1.0 - part), interval[1] * (1.0 - part) + part * pale


@dataclass
class _Shares:
    """The pale share of each pixel (h, w) and what is known of its mean: value, doubt, and the least and most it is."""

    dark: float
    bright: float
    share: NDArray[np.float32]
    pale: float
    doubt: float
    lowest: float
    highest: float
    reasons: list[Reason]
    texture: float
    grey: bool = False


def _shares(sample: SolidSample) -> _Shares:
    grey = channel_mean(sample.light)
    mask, ppm = sample.mask, sample.px_per_mm
    dark, texture, has_dark = dark_level(grey[mask].astype(np.float64))
    reasons = [because("dark_is_light", _("{dark:.0%} of paper white", dark=dark))] if dark > DARK_MOST else []
    part = grey_part(grey, mask, ppm, dark)
    if part is not None:
        oxide = (dark, texture) if dark < DARK_MOST else (DARK_USUAL, 0.3)
        both = grey_shares(grey, mask, ppm, part, oxide, surely_pale(oxide[0], sample.edge))
        pale, low, high = (float(x[mask].mean()) for x in (both.likely, both.low, both.high))
        doubt = mixed_doubt(both.likely[mask], both.bright_sd / max(both.bright - part.level, 0.05))
        detail = _("{share:.0%} of the area, at {level:.0%} of paper white", share=part.share, level=part.level)
        reasons.append(because("grey_part", detail))
        return _Shares(oxide[0], both.bright, both.likely, pale, doubt, low, high, reasons, oxide[1], grey=True)
    bright, bright_sd = pale_level(grey, mask, ppm, dark)
    if level_of_silver(grey, mask, bright):
        bright, bright_sd = PALE_USUAL, PALE_SD
    if not has_dark or bright < 2.2 * dark:
        reasons.append(
            because(
                "not_dark_and_pale", _("levels {dark:.2f} and {bright:.2f} of paper white", dark=dark, bright=bright)
            )
        )
    share = grain_shares(grey, mask, dark, bright, texture)
    lowest, veiled = float(np.clip(share[mask].mean(), 0.0, 1.0)), 0.0
    pale = lowest
    silvery = grey_grains(grey, mask, ppm, (dark, bright)) if has_dark else np.zeros_like(mask)
    silver = perhaps_silver(grey, mask, share, (dark, bright), silvery, surely_pale(dark, sample.edge))
    if dark > DARK_MOST:
        share = np.where(mask, np.clip((grey - DARK_USUAL) / (bright - DARK_USUAL), 0.0, 1.15), 0.0)
        share = np.asarray(share, dtype=np.float32)
        pale = float(np.clip(share[mask].mean(), 0.0, 1.0))
        veiled = (1.0 - pale) * DARK_USUAL_SD / (bright - DARK_USUAL)
    patches = float(np.clip(share[mask & silvery], 0.0, 1.0).sum()) / int(mask.sum())
    if patches > PATCHES_LEAST:
        reasons.append(
            because("grey_part", _("patches, {patches:.1%} of the area if they are chloride", patches=patches))
        )
    elif silver == 1.0 and lowest > SPECKS_LEAST:
        reasons.append(because("grey_part", _("specks, {lowest:.1%} of the area if they are chloride", lowest=lowest)))
    lowest = min(lowest, unlifted(share, mask, (dark, bright), sample.edge)) * (1.0 - silver)
    if not has_dark or dark > DARK_MOST:
        lowest = min(lowest, all_gaps_silver(grey, mask, bright) * (1.0 - 2 * EDGE_SD))
    doubt = float(np.hypot(mixed_doubt(share[mask], bright_sd / max(bright - dark, 0.05)), veiled))
    return _Shares(dark, bright, share, pale, doubt, lowest, pale, reasons, texture)
