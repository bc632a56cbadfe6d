"""The path of a photo to the description of an unused strip, top to bottom."""

from __future__ import annotations

import time
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from stripread.card.find import CardTrace, find_card
from stripread.card.layout import layout
from stripread.describe.along import counted, profile_along
from stripread.describe.doubts import doubts_of_pads, doubts_of_strip, end_beside_line, is_nothing
from stripread.describe.measure import Measure, MeasuredStrip, measure_strip
from stripread.describe.place import Axis, find_axis
from stripread.describe.result import Corners, DescribedPad, StripDescription
from stripread.errors import Refused
from stripread.reasons import Reason, because
from stripread.strip.lane import lane_map

if TYPE_CHECKING:
    from stripread.card.pose import CardPose
    from stripread.card.view import CardView
    from stripread.photo import Source

Array = NDArray[np.float64]


@dataclass
class DescriptionTrace:
    """What each stage of a description came to, as far as it got."""

    card: CardTrace = field(default_factory=CardTrace)
    axis: Axis | None = None
    strip: MeasuredStrip | None = None
    description: StripDescription | None = None


@dataclass(frozen=True)
class SeenStrip:
    """A strip measured, with its corners (4, 2) mm on the card, why each pad is not sure, and what is to be said."""

    axis: Axis
    strip: MeasuredStrip
    outline_mm: Array
    doubts: tuple[str | None, ...]
    reasons: tuple[Reason, ...]


def describe_strip(data: Source, name: str = "", pads: int | None = None) -> StripDescription:
    """Describe an unused strip, whose ``pads`` somebody may have counted.

    Never raises for a bad photo: the description is then refused, with its reason.
    """
    description = trace_description(data, name, pads).description
    assert description is not None
    return description


def trace_description(data: Source, name: str = "", pads: int | None = None) -> DescriptionTrace:
    """Describe an unused strip in the lane of the card and keep what every stage came to."""
    start = time.perf_counter()
    trace = DescriptionTrace()
    found: StripDescription | None = None
    try:
        view = find_card(data, trace.card)
        found = _described(view, trace, pads)
    except Refused as refused:
        stamp = trace.card.stamp(name, data, time.perf_counter() - start)
        trace.description = StripDescription(stamp, reasons=(refused.reason,))
        return trace
    trace.description = replace(found, stamp=trace.card.stamp(name, data, time.perf_counter() - start))
    return trace


def _described(view: CardView, trace: DescriptionTrace, counted_pads: int | None) -> StripDescription:
    """Find the strip, measure it, and say what is not sure."""
    seen = measured(view, counted_pads)
    trace.axis, trace.strip = seen.axis, seen.strip
    pose = trace.card.pose
    assert pose is not None
    strip = seen.strip
    pads = []
    for pad, doubt in zip(strip.pads, seen.doubts, strict=True):
        corners = _box(seen.axis, strip, pad.first.mm, pad.last.mm, min(pad.width.mm, strip.width.mm))
        described = DescribedPad(pad.offset, pad.length, pad.width, _points(corners), _in_photo(pose, corners), doubt)
        pads.append(described)
    return StripDescription(
        stamp=trace.card.stamp("", b"", 0.0),
        width=strip.width,
        length=strip.length,
        end_sd=strip.start.sd,
        roll=strip.roll,
        pads=tuple(pads),
        outline_mm=_points(seen.outline_mm),
        outline_px=_in_photo(pose, seen.outline_mm),
        reasons=seen.reasons,
    )


def measured(view: CardView, pads: int | None = None) -> SeenStrip:
    """The strip in the lane of a card laid flat, measured, with what is not sure.

    Raises
    ------
    Refused
        ``no_strip`` where nothing that may be one lies in the lane.
    """
    lane = lane_map(view, layout())
    axis = find_axis(lane)
    found = counted(profile_along(axis.frame, axis.width_mm), pads)
    if found is None:
        raise Refused(because("no_strip"))
    strip = _beside_line(axis, measure_strip(axis, found, view.edge_mm))
    if is_nothing(strip):
        raise Refused(because("no_strip"))
    outline = _box(axis, strip, strip.start.mm, strip.stop.mm, strip.width.mm)
    doubts = doubts_of_pads(view, lane, axis, strip)
    return SeenStrip(axis, strip, outline, tuple(doubts), tuple(doubts_of_strip(lane, strip, outline, doubts, pads)))


def _beside_line(axis: Axis, strip: MeasuredStrip) -> MeasuredStrip:
    """The strip with its ends as unsure as the lane's printed line beside them makes them."""
    ends = []
    for end in (strip.start, strip.stop):
        at = axis.place.to_mm(np.array([[end.mm, 0.0]]))[0]
        ends.append(Measure(end.mm, float(np.hypot(end.sd, end_beside_line(float(at[0]))))))
    grown = float(np.sqrt(max(ends[0].sd ** 2 - strip.start.sd**2, 0.0)))
    pads = tuple(replace(p, offset=Measure(p.offset.mm, float(np.hypot(p.offset.sd, grown)))) for p in strip.pads)
    return replace(strip, start=ends[0], stop=ends[1], pads=pads)


def _box(axis: Axis, strip: MeasuredStrip, a: float, b: float, width: float) -> Array:
    """Corners (4, 2) mm on the card of a box on the strip, the dipped end's first and last."""
    low, high = strip.middle_mm - width / 2, strip.middle_mm + width / 2
    return axis.place.to_mm(np.array([[a, low], [b, low], [b, high], [a, high]]))


def _points(corners: Array) -> Corners:
    return tuple((float(x), float(y)) for x, y in corners)


def _in_photo(pose: CardPose, corners_mm: Array) -> Corners:
    return _points(pose.to_full_px(corners_mm))
