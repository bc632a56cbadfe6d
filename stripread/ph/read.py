"""The path of a photo to a pH, top to bottom. Every stage returns a value; only this file knows their order.

``Refused`` is caught here and nowhere below: once for the photo, once for each strip in it. The clock is looked at
only here.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from stripread.card.find import CardTrace, find_card
from stripread.card.values import nominal_values
from stripread.correction.fit import ColourFix, fix_colour
from stripread.correction.verdicts import doubts_of_fix
from stripread.errors import Refused
from stripread.ph.comparison import ReadStrip, compare
from stripread.ph.observation import fit_errors_shared, observe_strip
from stripread.ph.remembered.read_known import as_used, looked_up, read_known
from stripread.ph.verdicts import OFF_CURVE, doubts_of_estimate, evident_interval
from stripread.reasons import because
from stripread.results import Comparison, PadColour, PhReading, Stamp, StripReading, TakenBy
from stripread.strip.find import InLane, find_in_lane
from stripread.strip.one_strip import FoundStrip
from stripread.strip.pads import PadSamples, PadSet, pads_to_lab, sample_pads
from stripread.words import _

if TYPE_CHECKING:
    from stripread.card.pose import CardPose
    from stripread.ph.buffers import Liquid
    from stripread.ph.posterior import PhEstimate
    from stripread.ph.profile import Profile
    from stripread.photo import Source
    from stripread.reasons import Reason

STRANGERS = TakenBy()
FOREIGN_MM2 = 20.0  # of clear colour: half a pad or more


@dataclass
class StripTrace:
    """What each stage of one strip came to, as far as it got."""

    strip: FoundStrip
    samples: PadSamples | None = None
    pads: PadSet | None = None
    estimate: PhEstimate | None = None
    comparison: Comparison | None = None
    reasons: list[Reason] = field(default_factory=list)


@dataclass
class PhTrace:
    """What each stage of one photo came to, as far as it got: for its picture, for joint readings and for tests.

    strips: the one whose value is the reading's, then those that lie in the lane beside it.
    """

    card: CardTrace = field(default_factory=CardTrace)
    lane: InLane | None = None
    fix: ColourFix | None = None
    taken_by: TakenBy = field(default_factory=TakenBy)
    strips: list[StripTrace] = field(default_factory=list)
    refusal: Reason | None = None  # what turned the photo away before a strip could be read
    reading: PhReading | None = None

    @property
    def first(self) -> StripTrace | None:
        """The strip whose value is the reading's."""
        return self.strips[0] if self.strips else None


def read_ph(data: Source, profile: Profile, name: str = "", beside: Liquid | None = None) -> PhReading:
    """Read the pH from one photo. Never raises for a bad photo: the reading is then refused, with its reason."""
    reading = trace_ph(data, profile, name, beside).reading
    assert reading is not None
    return reading


def trace_ph(data: Source, profile: Profile, name: str = "", beside: Liquid | None = None) -> PhTrace:
    """Read the pH from one photo and keep what every stage came to.

    beside: what the lowest of several strips was dipped in, to compare the others with.
    """
    start = time.perf_counter()
    trace = PhTrace()
    try:
        view = find_card(data, trace.card)
        trace.lane = find_in_lane(view, profile.kind)
        trace.strips = [StripTrace(strip) for strip in trace.lane.strips]
        trace.strips[0].samples = sample_pads(view, trace.strips[0].strip)
        assert trace.card.samples is not None
        trace.fix = fix_colour(trace.card.samples, profile.card_values or nominal_values())
        trace.taken_by = looked_up(trace.card.photo, trace.fix, profile)
        for strip in trace.strips:
            read_strip(strip, trace, profile)
        if beside is None:
            doubt_unread(trace)
        else:
            compare_strips(trace, profile, beside)
        for strip in trace.strips:
            judge_strip(strip, profile)
    except Refused as refused:
        trace.refusal = refused.reason
    trace.reading = _reading(trace, profile, trace.card.stamp(name, data, time.perf_counter() - start))
    return trace


def read_strip(strip: StripTrace, trace: PhTrace, profile: Profile) -> None:
    """Read one strip of a photo, with the photo's one colour fit: pads, CIELAB, pH. A refusal is the strip's own."""
    assert trace.fix is not None
    assert trace.card.view is not None
    assert trace.card.samples is not None
    try:
        strip.samples = strip.samples or sample_pads(trace.card.view, strip.strip)
        strip.reasons += strip.samples.reasons
        strip.reasons += doubts_of_fix(trace.fix, trace.card.samples, profile.card_values)
        pads = pads_to_lab(strip.samples, trace.fix).widened(profile.quality.doubt_scale)
        strip.pads, strip.estimate, said = read_known(pads, profile, trace.taken_by)
        strip.reasons += said
    except Refused as refused:
        strip.reasons.append(refused.reason)


def judge_strip(strip: StripTrace, profile: Profile) -> None:
    """Doubts about a strip's estimate; one that no pH explains has none any more."""
    if strip.estimate is None:
        return
    try:
        strip.reasons += doubts_of_estimate(strip.estimate, profile)
    except Refused as refused:
        strip.reasons.append(refused.reason)
        strip.estimate = None


def doubt_unread(trace: PhTrace) -> None:
    """Name to each strip what lies beside it and could not be read: its value may not be that of the strip meant."""
    assert trace.lane is not None
    for one in trace.lane.unread:
        if one.reason.code != "no_strip":
            for strip in trace.strips:
                strip.reasons.append(because("strip_beside_unread", one.reason.code))


def compare_strips(trace: PhTrace, profile: Profile, liquid: Liquid) -> None:
    """Read every strip but the lowest beside that one, which was dipped in ``liquid``.

    Raises
    ------
    Refused
        ``one_strip`` when there is no second one; where one that is not the lowest can't be read, with its reason.
    """
    *samples, other = trace.strips
    missing = _unread_beside(trace)
    if missing is not None and missing[0] > _y_mm(other):
        for strip in trace.strips:
            strip.comparison = Comparison(liquid.name, liquid.ph)
            why = missing[1].code
            strip.reasons.append(
                because("comparison_kind") if why == "wrong_kind" else because("comparison_unread", why)
            )
        return
    if not samples or missing is not None:
        for strip in trace.strips:
            strip.estimate = None  # whether it is the sample's nobody can say
            strip.comparison = Comparison(liquid.name, liquid.ph)
        raise Refused(because("one_strip") if missing is None else missing[1])
    for strip in samples:
        strip.comparison = Comparison(liquid.name, liquid.ph)
    beside = _as_read(other, trace)
    if beside is None:
        for strip in samples:
            strip.reasons.append(_why_unread(other))
        return
    assert trace.fix is not None
    for strip in samples:
        sample = _as_read(strip, trace)
        if sample is None:
            continue
        assert strip.samples is not None
        assert other.samples is not None
        shared = fit_errors_shared(strip.samples, other.samples, trace.fix, sample.pads.scale * sample.pads.share)
        came = compare(sample, beside, shared, liquid, profile)
        strip.estimate, strip.comparison = came.estimate, came.comparison
        strip.reasons += came.reasons


def _why_unread(other: StripTrace) -> Reason:
    """Why a comparison strip tells nothing: no pH has its colours, as when it is dry, or what it was refused for."""
    if other.estimate is not None:
        misfit = other.estimate.misfit
        return because("comparison_dry", _("{misfit:.1f} standard deviations away", misfit=misfit), value=misfit)
    why = next((reason.code for reason in other.reasons if reason.severity == "refuse"), "refused")
    return because("comparison_unread", why)


def _y_mm(strip: StripTrace) -> float:
    """How far down the card a strip lies."""
    return float(strip.strip.outline_mm[:, 1].mean())


def _unread_beside(trace: PhTrace) -> tuple[float, Reason] | None:
    """What lies beside the strips and can't be used: how far down the card (mm), and why; None where nothing does.

    Beside a single strip enough colour of whatever form is a strip of another kind.
    """
    lane = trace.lane
    if lane is None:
        return None
    for one in lane.unread:
        if one.reason.code != "no_strip":
            return one.y_mm, one.reason
    if len(trace.strips) == 1 and lane.foreign is not None and lane.foreign.area_mm2 > FOREIGN_MM2:
        return lane.foreign.y_mm, because("wrong_kind", _("the strip nearer the card's top edge"))
    return None


def _as_read(strip: StripTrace, trace: PhTrace) -> ReadStrip | None:
    """The strip as a comparison takes it; None where it has no estimate, or one that no pH explains."""
    if strip.estimate is None or strip.pads is None or strip.samples is None or trace.fix is None:
        return None
    if strip.estimate.misfit > OFF_CURVE:
        return None
    return ReadStrip(strip.pads, observe_strip("", "", strip.pads, strip.samples, trace.fix), strip.estimate)


def _reading(trace: PhTrace, profile: Profile, stamp: Stamp) -> PhReading:
    """The photo's reading; where it was turned away before its colours were corrected, only the first strip counts."""
    strips = trace.strips if trace.fix is not None else trace.strips[:1]
    readings = [
        strip_reading(
            strip.estimate,
            profile,
            _pad_colours(strip.pads, trace.card.pose),
            strip.reasons if trace.refusal is None else [*_reasons_so_far(strip), trace.refusal],
            strip.comparison,
        )
        for strip in strips
    ]
    refused = [] if trace.refusal is None else [trace.refusal]
    first = readings[0] if readings else strip_reading(None, profile, (), refused)
    return reading_of(stamp, profile, first, tuple(readings), as_used(trace.taken_by, [s.pads for s in strips]))


def _reasons_so_far(strip: StripTrace) -> list[Reason]:
    """What was found on a strip before its photo was turned away."""
    return [] if strip.samples is None else list(strip.samples.reasons)


def strip_reading(
    estimate: PhEstimate | None,
    profile: Profile,
    pads: tuple[PadColour, ...],
    reasons: list[Reason],
    comparison: Comparison | None = None,
) -> StripReading:
    """The reading of one strip; ``estimate`` is None when it was refused."""
    once = tuple(dict.fromkeys(reasons))
    if estimate is None:
        return StripReading(None, None, pads=pads, reasons=once, comparison=comparison)
    interval = evident_interval(estimate, profile)
    return StripReading(
        estimate.ph, interval, estimate.alternatives, pads, estimate.misfit, once, estimate.budget, comparison
    )


def reading_of(
    stamp: Stamp, profile: Profile, first: StripReading, strips: tuple[StripReading, ...], taken_by: TakenBy = STRANGERS
) -> PhReading:
    """A reading whose value is that of its first strip."""
    return PhReading(
        stamp,
        first.ph,
        first.interval,
        first.alternatives,
        first.pads,
        first.misfit,
        first.reasons,
        profile.name,
        first.budget,
        strips,
        comparison=first.comparison,
        taken_by=taken_by,
    )


def _pad_colours(pads: PadSet | None, pose: CardPose | None) -> tuple[PadColour, ...]:
    if pads is None or pose is None:
        return ()
    colours = []
    for lab, sd, corners in zip(pads.lab, pads.sd, pads.corners_mm, strict=True):
        quad = pose.to_full_px(corners)
        colours.append(
            PadColour(
                (float(lab[0]), float(lab[1]), float(lab[2])),
                (float(sd[0]), float(sd[1]), float(sd[2])),
                tuple((float(x), float(y)) for x, y in quad),
            )
        )
    return tuple(colours)
