"""The path of a photo to a solid's colour and pale share, top to bottom: a heap or slurry in the sample window."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from stripread.card.find import CardTrace, find_card
from stripread.card.layout import Window, layout
from stripread.card.values import CardValues, nominal_values
from stripread.card.view import CardView, card_view
from stripread.correction.fit import ColourFix, fix_colour
from stripread.errors import Refused
from stripread.reasons import Reason, because
from stripread.results import SolidReading
from stripread.solid.descriptions import fitting
from stripread.solid.estimate import SolidEstimate, SolidSample, estimate_solid, sample_solid
from stripread.tuned import tuned

if TYPE_CHECKING:
    from stripread.photo import Source

GRAINS_PX_PER_MM = 8.0  # a solid's view: grains smaller than a pixel are taken for dark
_TUNED = tuned("stripread.solid")
MIXED = _TUNED.number("heap_mixed")


@dataclass
class SolidTrace:
    """What each stage of a solid came to, as far as it got."""

    card: CardTrace = field(default_factory=CardTrace)
    fix: ColourFix | None = None
    sample: SolidSample | None = None
    estimate: SolidEstimate | None = None
    reading: SolidReading | None = None
    reasons: list[Reason] = field(default_factory=list)


def read_solid(
    data: Source,
    name: str = "",
    region_mm: tuple[float, float, float, float] | None = None,
    card_values: CardValues | None = None,
) -> SolidReading:
    """Read a solid from one photo. Never raises for a bad photo: the reading is then refused, with its reason."""
    reading = trace_solid(data, name, region_mm, card_values).reading
    assert reading is not None
    return reading


def trace_solid(
    data: Source,
    name: str = "",
    region_mm: tuple[float, float, float, float] | None = None,
    card_values: CardValues | None = None,
) -> SolidTrace:
    """Read a solid from one photo and keep what every stage came to."""
    start = time.perf_counter()
    trace = SolidTrace()
    try:
        view = _finer(find_card(data, trace.card), trace.card)
        assert trace.card.samples is not None
        trace.fix = fix_colour(trace.card.samples, card_values or nominal_values())
        where: Window | tuple[float, float, float, float] = region_mm or layout().windows["sample"]
        trace.sample = sample_solid(view, where, trace.fix)
        trace.estimate = estimate_solid(trace.sample, trace.fix)
        trace.reasons += trace.estimate.reasons
    except Refused as refused:
        trace.estimate = None
        trace.reasons = [refused.reason]
    stamp = trace.card.stamp(name, data, time.perf_counter() - start)
    estimate = trace.estimate
    if estimate is None:
        trace.reading = SolidReading(stamp, region_mm=region_mm, reasons=tuple(trace.reasons))
        return trace
    low, high = estimate.interval
    # The mean colour of dark and pale together is neither's.
    words = () if low > MIXED and high < 1.0 - MIXED else fitting(estimate.lab, estimate.sd)
    trace.reasons += [because("fits_description", text) for text in words]
    lab, sd = estimate.lab, estimate.sd
    trace.reading = SolidReading(
        stamp,
        lab=(float(lab[0]), float(lab[1]), float(lab[2])),
        sd=(float(sd[0]), float(sd[1]), float(sd[2])),
        pale_fraction=estimate.pale,
        pale_interval=estimate.interval,
        descriptions=words,
        region_mm=region_mm,
        reasons=tuple(dict.fromkeys(trace.reasons)),
    )
    return trace


def _finer(view: CardView, card: CardTrace) -> CardView:
    """The view in which grains are told apart: as fine as the photo is."""
    assert card.photo is not None
    assert card.pose is not None
    if card.pose.px_per_mm <= view.px_per_mm:
        return view
    card.view = card_view(card.photo, card.pose, GRAINS_PX_PER_MM)
    return card.view
