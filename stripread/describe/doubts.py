"""What of a measured strip is not sure, and why: said of each pad, and of the strip as a whole."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from stripread.card.layout import LANE_MM
from stripread.describe.measure import FLUSH_MM
from stripread.reasons import Reason, because
from stripread.robust import median
from stripread.strip.pixels import cover, usable
from stripread.strip.rest import something_left, without
from stripread.strip.shadow import find_shadow
from stripread.tuned import tuned
from stripread.words import _

if TYPE_CHECKING:
    from stripread.card.view import CardView
    from stripread.describe.measure import MeasuredPad, MeasuredStrip
    from stripread.describe.place import Axis
    from stripread.strip.lane import LaneMap

Array = NDArray[np.float64]

_TUNED = tuned("stripread.describe")
SURE_SD_MM = _TUNED.number("sure_sd")
LEAST_EVIDENCE = _TUNED.number("least_evidence")
PALE_PIECE = _TUNED.number("pale_piece")
SHADE = _TUNED.number("shade_near_pad")
UNEVEN_LIGHT = _TUNED.number("faint_piece")
LEAST_SHINE = 0.1  # share of a pad
NEAR_LINE_MM = 1.2  # of the lane's printed line: what the map mends there may be the strip's own end
NEAR_LINE_SD_MM = 0.4
MARGIN_MM = 0.5


def end_beside_line(x_mm: float) -> float:
    """What an end's standard deviation (mm) grows by for the lane's printed line at its place on the card."""
    x, _y, w, _h = LANE_MM
    return NEAR_LINE_SD_MM if min(abs(x_mm - x), abs(x_mm - x - w)) < NEAR_LINE_MM else 0.0


def is_nothing(strip: MeasuredStrip) -> bool:
    """Whether what was found is only light that is not quite even: faint, of one colour, without clear edges."""
    faint = strip.roll and strip.pads[0].contrast < UNEVEN_LIGHT
    return faint and max(strip.width.sd, strip.length.sd) > 2.0 * SURE_SD_MM


def doubts_of_pads(view: CardView, lane: LaneMap, axis: Axis, strip: MeasuredStrip) -> list[str | None]:
    """Of each pad why it is not sure, in words; None where it is."""
    span = (strip.start.mm, strip.stop.mm)
    shadow = find_shadow(lane, axis.place, span, strip.width.mm)
    said: list[str | None] = []
    for pad in strip.pads:
        if strip.roll and pad.contrast < PALE_PIECE:
            said.append(_("nothing stands out from the carrier"))
        elif not strip.roll and pad.evidence < LEAST_EVIDENCE:
            said.append(_("it hardly differs from the carrier"))
        elif max(pad.first.sd, pad.last.sd) > SURE_SD_MM:
            said.append(_("its edges are hard to see"))
        elif _shines(view, lane, axis, pad, strip.width.mm):
            said.append(_("it shines"))
        elif max(shadow.near(at.mm - MARGIN_MM, at.mm + MARGIN_MM) for at in (pad.first, pad.last)) > SHADE:
            said.append(_("a shadow's edge lies on it"))
        else:
            said.append(None)
    return said


def doubts_of_strip(
    lane: LaneMap, strip: MeasuredStrip, outline_mm: Array, pads: list[str | None], counted: int | None = None
) -> list[Reason]:
    """What is to be said of the whole strip; outline_mm: its corners (4, 2); counted: its pads as somebody counted."""
    reasons = []
    if counted is not None and counted != (0 if strip.roll else len(strip.pads)):
        seen = _("{seen} seen, {counted} counted", seen=0 if strip.roll else len(strip.pads), counted=counted)
        reasons.append(because("pads_miscounted", seen))
    if strip.roll and pads and pads[0] is not None and strip.pads[0].contrast < PALE_PIECE:
        reasons.append(because("no_pads_seen"))
    unsure = [n + 1 for n, doubt in enumerate(pads) if doubt is not None]
    if unsure and not reasons:
        detail = ", ".join(_("pad {number}: {doubt}", number=n, doubt=pads[n - 1]) for n in unsure)
        reasons.append(because("pads_unsure", detail))
    if _stub_hidden(strip):
        reasons.append(because("dipped_end_unsure", _("a bare end that can't be seen")))
    elif strip.start.sd > SURE_SD_MM and not strip.roll:
        reasons.append(because("dipped_end_unsure", _("{mm:.1f} mm", mm=2.0 * strip.start.sd)))
    gap = _hidden(strip)
    if gap is not None:
        detail = _("{start:.0f} to {stop:.0f} mm from the dipped end", start=gap[0], stop=gap[1])
        reasons.append(because("pad_may_hide", detail))
    if max(strip.width.sd, strip.length.sd) > 2.0 * SURE_SD_MM:
        reasons.append(because("strip_size_unsure"))
    if not strip.roll and _turned(strip):
        reasons.append(because("strip_turned_round"))
    if something_left(without(lane, outline_mm)) is not None:
        reasons.append(because("strip_not_alone"))
    return reasons


def _hidden(strip: MeasuredStrip) -> tuple[float, float] | None:
    """A bare stretch among the pads (mm from the dipped end) in which one as pale as the carrier may lie."""
    if strip.roll or len(strip.pads) < 1:
        return None
    ends = [0.0, *(pad.offset.mm + pad.length.mm for pad in strip.pads)]
    begins = [pad.offset.mm for pad in strip.pads]
    long = median(np.array([pad.length.mm for pad in strip.pads]))
    gaps = [b - a for a, b in zip(ends[1:], begins[1:], strict=False)]
    usual = median(np.array(gaps)) if len(gaps) > 1 else 0.0
    for n, (a, b) in enumerate(zip(ends, begins, strict=False)):
        # A pad and the usual gaps on either side must have room; before the first, only the gap after it.
        if b - a > 0.9 * long + usual * (2.0 if n else 1.0):
            return a, b
    return None


def _stub_hidden(strip: MeasuredStrip) -> bool:
    """Whether the first pad seems to begin with the strip, whose bare end before it may be as white as paper."""
    flush = not strip.roll and strip.pads[0].offset.mm < FLUSH_MM
    return flush and float(np.abs(1.0 - strip.carrier).max()) < UNEVEN_LIGHT


def _turned(strip: MeasuredStrip) -> bool:
    """Whether the longer bare end, by which a strip is held, lies left."""
    before = strip.pads[0].offset.mm
    after = strip.length.mm - strip.pads[-1].offset.mm - strip.pads[-1].length.mm
    return before > after + strip.width.sd


def _shines(view: CardView, lane: LaneMap, axis: Axis, pad: MeasuredPad, width: float) -> bool:
    quad = axis.place.to_mm(
        np.array([[s, t] for s, t in ((pad.first.mm, -1), (pad.last.mm, -1), (pad.last.mm, 1), (pad.first.mm, 1))])
        * np.array([1.0, width / 2])
    )
    mask, origin = cover(view, quad, MARGIN_MM)
    paper = lane.paper_rgb(quad.mean(axis=0)[None])[0]
    _left, glare, _uneven, _clipped = usable(view, mask, origin, paper)
    return glare > LEAST_SHINE
