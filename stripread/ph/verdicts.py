"""Doubts about a pH: how far its colours lie from the curve, what else fits, and how narrow an interval may be."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stripread.errors import Refused
from stripread.ph.posterior import WIDE
from stripread.ph.range_end import range_end
from stripread.reasons import Reason, because
from stripread.tuned import tuned
from stripread.words import _

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
        raise Refused(
            because(
                "off_curve", _("{misfit:.1f} standard deviations away", misfit=estimate.misfit), value=estimate.misfit
            )
        )
    doubts: list[Reason] = []
    if profile.quality.contradicted:
        doubts.append(because("profile_contradicted"))
    if estimate.misfit > NEAR_OFF_CURVE:
        doubts.append(
            because(
                "near_off_curve",
                _("{misfit:.1f} standard deviations away", misfit=estimate.misfit),
                value=estimate.misfit,
            )
        )
    if estimate.alternatives:
        other = estimate.alternatives[0]
        doubts.append(
            because(
                "ambiguous",
                _("pH {ph:.1f}, weight {weight:.0%}", ph=other.ph, weight=other.weight),
                value=other.ph,
                unit="pH",
            )
        )
    low, high = estimate.interval
    if high - low > WIDE:  # a note: what it leaves open is for the question asked of it
        doubts.append(
            because("wide_interval", _("{low:.1f} to {high:.1f}", low=low, high=high), value=high - low, unit="pH")
        )
    bound = range_end((low, high), profile.kind.range)
    if bound is not None:
        limit = high if bound == "at most" else low
        words = _("at most {limit:.1f}", limit=limit) if bound == "at most" else _("at least {limit:.1f}", limit=limit)
        doubts.append(because("end_of_range", words, bound=bound, value=limit, unit="pH"))
    return doubts


def evident_interval(estimate: PhEstimate, profile: Profile) -> tuple[float, float]:
    """The interval, not narrower than the evidence behind the profile allows, and within the strip's range."""
    low, high = estimate.interval
    if not profile.has_evidence:
        low, high = min(low, estimate.ph - UNPROVEN_HALF_WIDTH), max(high, estimate.ph + UNPROVEN_HALF_WIDTH)
    bottom, top = profile.kind.range
    return max(low, bottom), min(high, top)
