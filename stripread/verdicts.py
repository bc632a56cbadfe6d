"""Judgements on a photo and an estimate: which doubts it carries, and when it must be refused.

All limits stand here, each with why it is where it is. A limit that turns a reading away must be one that a good photo
does not reach: a needless refusal sends somebody back to the bench.
"""

from __future__ import annotations

import numpy as np

from stripread.card import CardLayout
from stripread.cardcheck import card_misfit
from stripread.correct import ColourFix
from stripread.errors import Refused
from stripread.pads import PadSet
from stripread.patches import PatchSamples
from stripread.ph import PhEstimate
from stripread.photo import Photo
from stripread.profile import Profile
from stripread.reasons import Reason, because
from stripread.reference import CardValues

DARK_PICTURE = 45.0  # 98 % of a picture without a card in it lie below this (of 255)
BURNT_LEVEL, BURNT_PICTURE = 250.0, 0.4
BLURRED_STEP = (
    0.25  # of the contrast, between neighbours at 400 pixels across: a card's edges make steeper ones when sharp
)
BURNT_SHARE = 0.5  # of the card's whites and light greys: beyond it nothing is left to scale the colours by
WHITE_TOO_DARK = 0.16  # encoded; a white darker than this leaves the dark pads in the sensor's noise
OFF_CURVE, NEAR_OFF_CURVE = 4.0, 2.1  # misfit in standard deviations
POOR_FIT, UNEVEN = 6.0, 3.0  # Delta E; what the card's patches and its neutral steps miss
# Misfit of the card's patches to the profile's (``cardcheck``; 1 is usual): in ordinary light about 1 photo in 200 of
# the profile's own card lies beyond, and 9 in 10 of another printer's card (rendered: python -m tests.card_study).
OTHER_CARD = 2.2
OTHER_CARD_LAB = 9.0  # Delta E; values measured by the user are the ink's own, which a phone sees less well
# Delta E, mean over the card's colours: how far dyes are foretold to be off (``dyefield``). In ordinary light 4 photos
# in 1000 lie beyond (rendered: the reasons in docs/coverage.md); a lamp of three narrow lines, or an odd sensor, often.
DYES_OFF = 4.0
LIGHT_RATIO = 3.0  # brightest to darkest place of the card
WIDE = 0.8  # pH, the whole interval: wider, and being off by the trade's ± 0.5 is no longer unlikely
UNPROVEN_HALF_WIDTH = 0.5  # ASTM D8294-21: from strips no better than this may be implied without own evidence


def why_no_card(photo: Photo, found: Reason) -> Reason:
    """A better reason than "no card" when the picture itself shows one: too dark, burnt out or blurred."""
    if found.code != "no_card":
        return found
    grey = photo.pixels[::4, ::4].mean(axis=2)
    if np.quantile(grey, 0.98) < DARK_PICTURE:
        return because("too_dark")
    if np.mean(grey > BURNT_LEVEL) > BURNT_PICTURE:
        return because("blown_out")
    step = max(1, max(photo.pixels.shape[:2]) // 800)
    small = photo.pixels[::step, ::step].mean(axis=2)
    small = (
        small[:-1:2, :-1:2] + small[1::2, :-1:2] + small[:-1:2, 1::2] + small[1::2, 1::2]
    ) / 4.0  # noise is no edge
    contrast = np.quantile(small, 0.99) - np.quantile(small, 0.01)
    # A shaken picture keeps the edges along its motion: judge the softer of the two directions.
    steepest = min(np.quantile(np.abs(np.diff(small, axis=axis)), 0.9999) for axis in (0, 1))
    if steepest < BLURRED_STEP * contrast:
        return because("blurred")
    return found


def check_exposure(samples: PatchSamples, layout: CardLayout) -> None:
    """Refuse a photo whose card is burnt out, too dark or hidden.

    Raises
    ------
    Refused
        ``blown_out``, ``too_dark`` or ``card_cut_off``.
    """
    sent = layout.nominal_srgb()
    light = (sent.min(axis=1) > 0.75) & samples.usable
    if samples.usable.sum() < 24 or light.sum() < 4:
        raise Refused(
            because("card_cut_off", f"{int(samples.usable.sum())} of {len(samples.usable)} patches are clear")
        )
    if np.mean(samples.clipped[light].max(axis=1) > 0.3) > BURNT_SHARE:
        raise Refused(because("blown_out"))
    if np.median(samples.rgb[light].max(axis=1)) < WHITE_TOO_DARK:
        raise Refused(because("too_dark"))


def doubts_of_fix(fix: ColourFix, samples: PatchSamples, values: CardValues | None) -> list[Reason]:
    """Doubts about the colour correction of this photo."""
    doubts: list[Reason] = []
    known = values is not None and values.source != "nominal"
    if fix.monochrome:
        doubts.append(because("card_without_colour"))
    elif told := _other_card(fix, samples, values):
        doubts.append(because("other_card", told))
    elif known and fix.rms_cv > POOR_FIT:
        doubts.append(because("colour_fit_poor", f"they differ by {fix.rms_cv:.1f} Delta E"))
    off = fix.dyes_off(samples.rgb, samples.centre_mm)
    if known and off > DYES_OFF:
        doubts.append(because("poor_light", f"dyes are off by some {off:.0f} Delta E"))
    field = fix.light_at(samples.centre_mm).mean(axis=1)
    if field.max() / max(field.min(), 1e-6) > LIGHT_RATIO or (known and fix.light_rms > UNEVEN):
        doubts.append(because("uneven_light", f"{field.max() / field.min():.1f} to 1"))
    return doubts


def _other_card(fix: ColourFix, samples: PatchSamples, values: CardValues | None) -> str:
    """By what the patches differ from the profile's beyond what another photo of the same card explains, or nothing."""
    if values is not None and values.source == "estimated":
        misfit = card_misfit(fix, samples, values)
        return f"its patches fit {misfit:.1f} times worse than usual" if misfit > OTHER_CARD else ""  # NaN: can't tell
    if values is not None and values.source == "measured" and fix.lab_rms > OTHER_CARD_LAB:
        return f"its patches differ by {fix.lab_rms:.0f} Delta E"
    return ""


def doubts_of_estimate(estimate: PhEstimate, pads: PadSet, profile: Profile) -> list[Reason]:
    """Doubts about the value.

    Raises
    ------
    Refused
        ``off_curve`` when no pH of the profile explains the colours.
    """
    if estimate.misfit > OFF_CURVE:
        raise Refused(because("off_curve", f"{estimate.misfit:.1f} standard deviations away"))
    doubts: list[Reason] = []
    if estimate.misfit > NEAR_OFF_CURVE:
        doubts.append(because("near_off_curve", f"{estimate.misfit:.1f} standard deviations away"))
    if estimate.alternatives:
        other = estimate.alternatives[0]
        doubts.append(because("ambiguous", f"pH {other.ph:.1f}, weight {other.weight:.0%}"))
    low, high = estimate.interval
    if high - low > WIDE:
        doubts.append(because("wide_interval", f"{low:.1f} to {high:.1f}"))
    bottom, top = profile.kind.range
    if low <= bottom + 0.02:
        doubts.append(because("end_of_range", f"at most {high:.1f}"))
    elif high >= top - 0.02:
        doubts.append(because("end_of_range", f"at least {low:.1f}"))
    return doubts


def evident_interval(estimate: PhEstimate, profile: Profile) -> tuple[float, float]:
    """The interval, not narrower than the evidence behind the profile allows, and within the strip's range."""
    low, high = estimate.interval
    if not profile.has_evidence:
        low, high = min(low, estimate.ph - UNPROVEN_HALF_WIDTH), max(high, estimate.ph + UNPROVEN_HALF_WIDTH)
    bottom, top = profile.kind.range
    return max(low, bottom), min(high, top)
