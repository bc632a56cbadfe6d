"""Doubts about a pH: how far its colours lie from the curve, what else fits, and how narrow an interval may be."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stripread.errors import Refused
from stripread.ph.posterior import WIDE
from stripread.ph.range_end import range_end
from stripread.reasons import Reason, because
from stripread.tuned import tuned

if TYPE_CHECKING:
    from stripread.ph.posterior import PhEstimate
    from stripread.ph.profile import Profile

_TUNED = tuned("stripread.ph")
OFF_CURVE = _TUNED.number("off_curve")
NEAR_OFF_CURVE = _TUNED.number("near_off_curve")
UNPROVEN_HALF_WIDTH = 0.5  # ASTM D8294-21: from strips no better than this may be implied without own evidence


def doubts_of_estimate(estimate: PhEstimate, profile: Profile) -> list[Reason]:
    """Doubts about the value.

    Raises
    ------
    Refused
        ``off_curve`` when no pH of the profile explains the colours.
    """
    if estimate.misfit > OFF_CURVE:
        raise Refused(because("off_curve", f"{estimate.misfit:.1f} standard deviations away", value=estimate.misfit))
    doubts: list[Reason] = []
    if estimate.misfit > NEAR_OFF_CURVE:
        doubts.append(
            because("near_off_curve", f"{estimate.misfit:.1f} standard deviations away", value=estimate.misfit)
        )
    if estimate.alternatives:
        other = estimate.alternatives[0]
        doubts.append(because("ambiguous", f"pH {other.ph:.1f}, weight {other.weight:.0%}", value=other.ph, unit="pH"))
    low, high = estimate.interval
    if high - low > WIDE:  # a note: what it leaves open is for the question asked of it
        doubts.append(because("wide_interval", f"{low:.1f} to {high:.1f}", value=high - low, unit="pH"))
    bound = range_end((low, high), profile.kind.range)
    if bound is not None:
        limit = high if bound == "at most" else low
        doubts.append(because("end_of_range", f"{bound} {limit:.1f}", bound=bound, value=limit, unit="pH"))
    return doubts


def evident_interval(estimate: PhEstimate, profile: Profile) -> tuple[float, float]:
    """The interval, not narrower than the evidence behind the profile allows, and within the strip's range."""
    low, high = estimate.interval
    if not profile.has_evidence:
        low, high = min(low, estimate.ph - UNPROVEN_HALF_WIDTH), max(high, estimate.ph + UNPROVEN_HALF_WIDTH)
    bottom, top = profile.kind.range
    return max(low, bottom), min(high, top)
