"""Matched cells: what two like vials and their two places differ by, measured by a second photo in place of assumed.

Analysts fill both cells of a pair with the same blank and take the ratio found for nothing. ``blank``: both vials with
the same blank, in the same windows: takes out glass and place. ``swapped``: the same filled vials exchanged between the
windows: takes out the place, and leaves the glass.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from stripread.reasons import Reason, because
from stripread.tint.sample import CELLS, TintSample, scaled_cov

Array = NDArray[np.float64]
Matching = Literal["none", "blank", "swapped"]

COLOUR_APART = 0.03  # natural log, one channel against another: more is no pair of like vials with one blank in both
GREY_APART = 0.15  # natural log, all channels: more is another depth, or a shadow on one of them
LIGHT_MOVED = 0.12  # natural log: how far the light between the windows may have turned from one photo to the other


@dataclass(frozen=True)
class SecondPhoto:
    """The photo that measures the cells: how it was taken, and its ratio; None where it could not be read, with why."""

    matching: Literal["blank", "swapped"]
    sample: TintSample | None
    refusal: Reason | None = None


def matched(sample: TintSample, second: SecondPhoto | None) -> tuple[TintSample, Matching, list[Reason]]:
    """The ratio with the cells' own taken out, how that was done, and doubts of it.

    With a cell blank the ratios divide: the errors of place and glass are in both. Swapped, the root of the two ratios'
    quotient is the liquid's ratio times the glass's. Errors of the two photos are independent: noise, texture, light
    and the floor of each add up (propagation of uncertainty to first order, JCGM 100:2008, 5.1.2).
    """
    if second is None:
        return sample, "none", []
    if second.sample is None:
        why = "it was refused" if second.refusal is None else second.refusal.message
        return sample, "none", [because("cells_unusable", why)]
    if sample.hidden or sample.guessed:
        return sample, "none", []
    other = second.sample
    wrong = _wrong(sample, other, second.matching)
    if wrong:
        return sample, "none", [because("cells_unusable", wrong)]
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


def _wrong(sample: TintSample, other: TintSample, matching: str) -> str:
    """Why the second photo does not measure this pair, in words; empty where it does."""
    if other.hidden or other.guessed:
        return "the paper is not seen through both of its vials"
    if float(np.abs(sample.log_light - other.log_light).max()) > LIGHT_MOVED:
        return "its light falls otherwise on the two windows: take both photos in the same place, one after the other"
    logs = np.log(np.maximum(other.ratio, 1e-3))
    if matching == "blank" and (float(np.ptp(logs)) > COLOUR_APART or float(np.abs(logs.mean())) > GREY_APART):
        return "its two vials are not alike: fill both with the same blank, to the same depth"
    if matching == "swapped":
        both = np.log(np.maximum(sample.ratio * other.ratio, 1e-6)) / 2.0
        if float(np.ptp(both)) > COLOUR_APART or float(np.abs(both.mean())) > GREY_APART:
            return "it does not show the same two liquids exchanged"
    return ""


def _without_cells(sample: TintSample) -> Array:
    """Covariance (3, 3) of a ratio but for what two like vials differ by."""
    return sample.cov - _cells_of(sample)


def _cells_of(sample: TintSample) -> Array:
    """Covariance (3, 3) for what two like vials differ by; of a ratio where that was measured: nothing."""
    return sample.parts.get(CELLS, np.zeros((3, 3)))


def _rebuilt(sample: TintSample, ratio: Array, parts: dict[str, Array]) -> TintSample:
    return replace(sample, ratio=ratio, parts=parts, cov=sum(parts.values(), np.zeros((3, 3))))
