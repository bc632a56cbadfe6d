"""Matched cells: what two like vials and their two places differ by, measured by a second photo in place of assumed.

Analysts fill both cells of a pair with the same blank and take the ratio found for nothing. ``blank``: both vials with
the same blank, in the same windows: takes out glass and place. ``swapped``: the same filled vials exchanged between the
windows: takes out the place, and leaves the glass.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from stripread.colour import srgb_decode
from stripread.reasons import Reason, because
from stripread.tint.cells_age import HOURS, hours_between
from stripread.tint.sample import CELLS, TintSample, scaled_cov
from stripread.tuned import tuned
from stripread.words import _

if TYPE_CHECKING:
    from stripread.card.patches import PatchSamples

Array = NDArray[np.float64]
Matching = Literal["none", "blank", "swapped"]
Measured = Literal["blank", "swapped"]

COLOUR_APART = 0.03  # natural log, one channel against another: more is no pair of like vials with one blank in both
GREY_APART = 0.15  # natural log, all channels: more is another depth, or a shadow on one of them
LIGHT_MOVED = 0.12  # natural log: how far the light between the windows may have turned from one photo to the other


_TUNED = tuned("stripread.tint")
LAMP_APART = _TUNED.number("lamp_apart")
DARK_PATCH = 0.05  # linear, in its darkest channel: below it flare and noise are more than the lamp's colour
FEWEST_PATCHES = 12  # fewer say nothing of a lamp


@dataclass(frozen=True)
class SecondPhoto:
    """The photo that measures the cells: how it was taken, and its ratio; None where it could not be read, with why.

    taken_at: the photo's own time (EXIF). age_h: hours from it to the reading's photo as a log has them, which count
    where not both photos carry a time. changed: somebody says that vials or places were changed since.
    """

    matching: Measured
    sample: TintSample | None
    refusal: Reason | None = None
    taken_at: str | None = None
    age_h: float | None = None
    changed: bool = False


def matched(
    sample: TintSample, second: SecondPhoto | None, taken_at: str | None = None
) -> tuple[TintSample, Matching, list[Reason]]:
    """The ratio with the cells' own taken out, how that was done, and doubts of it; ``taken_at`` is the photo's time.

    A second photo that is doubted is left out, so that the reading is never surer than without it.

    With a cell blank the ratios divide: the errors of place and glass are in both. Swapped, the root of the two ratios'
    quotient is the liquid's ratio times the glass's. Errors of the two photos are independent: noise, texture, light
    and the floor of each add up (propagation of uncertainty to first order, JCGM 100:2008, 5.1.2).
    """
    if second is None:
        return sample, "none", []
    if sample.hidden or sample.guessed:
        return sample, "none", []
    doubt = _doubt(sample, second, taken_at)
    other = second.sample
    if doubt is not None or other is None:
        return sample, "none", [] if doubt is None else [doubt]
    own = {name: cov for name, cov in sample.parts.items() if name != CELLS}
    if second.matching == "blank":
        ratio = sample.ratio / other.ratio
        parts = {name: scaled_cov(cov, 1.0 / other.ratio) for name, cov in own.items()}
        parts["second"] = scaled_cov(_without_cells(other), ratio / other.ratio)
        return _rebuilt(sample, ratio, parts), "blank", []
    ratio = np.sqrt(sample.ratio / other.ratio)
    half = 0.5 * ratio
    parts = {name: scaled_cov(cov, half / sample.ratio) for name, cov in own.items()}
    parts["second"] = scaled_cov(_without_cells(other), half / other.ratio)
    parts[CELLS] = scaled_cov(_cells_of(sample), ratio / sample.ratio)
    return _rebuilt(sample, ratio, parts), "swapped", []


def unmatched(decision: str, second: SecondPhoto | None) -> list[Reason]:
    """That a second photo would likely settle it, where nothing was decided and none was given."""
    return [because("cells_unmatched")] if decision == "undecided" and second is None else []


def patch_light(samples: PatchSamples) -> Array:
    """Natural log of the light of each of the card's patches, (N, 3); NaN where it tells no lamp."""
    light = srgb_decode(samples.rgb)
    seen = samples.clean & (light.min(axis=1) > DARK_PATCH)
    return np.where(seen[:, None], np.log(np.maximum(light, DARK_PATCH)), np.nan)


def lamp_shift(one: Array, other: Array) -> float | None:
    """How far the card's colours moved against each other from one photo to the other, natural log; None if unseen.

    ``one``, ``other``: (N, 3) as ``patch_light`` gives them.
    A phone balances its white for each lamp, so that white tells little; how inks stand to each other in their channels
    (Luther's condition holds for no phone) changes with the lamp's spectrum all the same. Of what is left of the log
    ratios without their grey and without what all patches share: the length that a fifth of the patches surpass.
    """
    if one.shape != other.shape:
        return None
    apart = one - other  # (N, 3)
    apart = apart[~np.isnan(apart).any(axis=1)]
    if len(apart) < FEWEST_PATCHES:
        return None
    colour = apart - apart.mean(axis=1, keepdims=True)
    return float(np.quantile(np.linalg.norm(colour - np.median(colour, axis=0), axis=1), 0.8))


def _doubt(sample: TintSample, second: SecondPhoto, taken_at: str | None) -> Reason | None:
    """Why the second photo does not speak of these vials as they stand now; None where it does."""
    other, most = second.sample, HOURS[second.matching]
    if other is None:
        return because("cells_unusable", _("it was refused") if second.refusal is None else second.refusal.message)
    if second.changed:
        return because("cells_changed")
    own = hours_between(taken_at, second.taken_at)
    age = second.age_h if own is None else own
    if age is not None and age > most:
        return because("cells_old", _("{age:.1f} h from the tint, {most:g} h at most", age=age, most=most))
    shift = lamp_shift(sample.patches, other.patches)
    if shift is not None and shift > LAMP_APART:
        moved = _(
            "the card's colours moved by {shift:.1f} %, {lamp_apart:.1f} % at most",
            shift=100 * shift,
            lamp_apart=100 * LAMP_APART,
        )
        return because("cells_other_light", moved)
    wrong = _wrong(sample, other, second.matching)
    return because("cells_unusable", wrong) if wrong else None


def unlike(sample: TintSample) -> str:
    """Why a photo of two blanks measures no pair of like vials, in words; empty where it does."""
    if sample.hidden or sample.guessed:
        return _("the paper is not seen through both of its vials")
    logs = np.log(np.maximum(sample.ratio, 1e-3))
    if float(np.ptp(logs)) > COLOUR_APART or float(np.abs(logs.mean())) > GREY_APART:
        return _("its two vials are not alike: fill both with the same blank, to the same depth")
    return ""


def _wrong(sample: TintSample, other: TintSample, matching: str) -> str:
    """Why the second photo does not measure this pair, in words; empty where it does."""
    if other.hidden or other.guessed:
        return _("the paper is not seen through both of its vials")
    if float(np.abs(sample.log_light - other.log_light).max()) > LIGHT_MOVED:
        return _(
            "its light falls otherwise on the two windows: take both photos in the same place, one after the other"
        )
    if matching == "blank":
        return unlike(other)
    if matching == "swapped":
        both = np.log(np.maximum(sample.ratio * other.ratio, 1e-6)) / 2.0
        if float(np.ptp(both)) > COLOUR_APART or float(np.abs(both.mean())) > GREY_APART:
            return _("it does not show the same two liquids exchanged")
    return ""


def _without_cells(sample: TintSample) -> Array:
    """Covariance (3, 3) of a ratio but for what two like vials differ by."""
    return sample.cov - _cells_of(sample)


def _cells_of(sample: TintSample) -> Array:
    """Covariance (3, 3) for what two like vials differ by; of a ratio where that was measured: nothing."""
    return sample.parts.get(CELLS, np.zeros((3, 3)))


def _rebuilt(sample: TintSample, ratio: Array, parts: dict[str, Array]) -> TintSample:
    return replace(sample, ratio=ratio, parts=parts, cov=sum(parts.values(), np.zeros((3, 3))))
