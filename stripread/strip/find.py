"""The strip and its pads, found from the picture: where they lie, which pixels count, and what speaks against them."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from stripread.card.layout import layout
from stripread.errors import Refused
from stripread.reasons import Reason, because
from stripread.robust import medians
from stripread.strip.fit import refine, straighten
from stripread.strip.kind_fits import PAD_SEEN, contrasts, ends_of_roll, misfit_of_kind, shining
from stripread.strip.lane import LaneMap, lane_map
from stripread.strip.order import settle
from stripread.strip.pixels import MARGIN_MM, PadRegion, cover, usable
from stripread.strip.rest import Left, something_left, without
from stripread.strip.search import Place, search
from stripread.strip.shadow import Shadow, find_shadow
from stripread.strip.touching import EDGE_COLOUR, crowded, edge_colour, entangled
from stripread.tuned import tuned
from stripread.words import _

if TYPE_CHECKING:
    from stripread.card.view import CardView
    from stripread.kind import StripKind

Array = NDArray[np.float64]

_TUNED = tuned("stripread.strip")
CARRIER_SEEN = _TUNED.number("carrier_seen")
PAD_FAINT = _TUNED.number("pad_faint")
CARRIER_PLAIN = _TUNED.number("carrier_plain")
SHINE_REFUSED = _TUNED.number("shine_refused")
SHINE_SUSPECT = _TUNED.number("shine_suspect")
GLARE_LEFT = _TUNED.number("glare_left")
GLARE_DOUBT = _TUNED.number("glare_doubt")
UNEVEN_DOUBT = _TUNED.number("uneven_doubt")
MARGIN_SHARE = 0.16  # of a small pad's side; large ones lose MARGIN_MM
SHADOW_REFUSED = _TUNED.number("shadow_refused")
SHADOW_DOUBT = _TUNED.number("shadow_doubt")
AGAIN_MM = 1.0  # a strip moved further than this by the fit is fitted once more from its new place
SECOND_SHARE = _TUNED.number("second_share")
MOST_STRIPS = 3  # that a lane holds
NO_STRIP_OF_KIND = frozenset({"no_strip", "wrong_kind"})


@dataclass(frozen=True)
class FoundStrip:
    """One strip on the card.

    outline_mm (4, 2): corners, the dipped end's two first and last. end: the side the dipped end lies to.
    pads in the kind's order. contrast: of the most visible pad to its carrier (log ratio). width_mm: as seen.
    reasons: doubts. edge_colour: right beside the pads (log ratio).
    """

    outline_mm: Array
    end: Literal["left", "right"]
    pads: tuple[PadRegion, ...]
    contrast: float
    width_mm: float
    reasons: tuple[Reason, ...]
    edge_colour: float = 0.0


@dataclass(frozen=True)
class Unread:
    """Something that lies in the lane like a strip and can't be used: about where, corners (4, 2) mm, and why."""

    outline_mm: Array
    reason: Reason

    @property
    def y_mm(self) -> float:
        """How far down the card it lies."""
        return float(self.outline_mm[:, 1].mean())


@dataclass(frozen=True)
class InLane:
    """All that lies in and near the lane, the one nearest the card's top edge first.

    strips: at least one. unread: what looks like a strip of this kind beside them and can't be used. foreign: clear
    colour that is left and no strip of this kind, None where there is none.
    """

    strips: tuple[FoundStrip, ...]
    unread: tuple[Unread, ...] = ()
    foreign: Left | None = None


def find_strips(view: CardView, kind: StripKind) -> tuple[FoundStrip, ...]:
    """Find the strips in and near the lane, the one nearest the card's top edge first.

    Raises
    ------
    Refused
        As ``find_in_lane``.
    """
    return find_in_lane(view, kind).strips


def find_in_lane(view: CardView, kind: StripKind) -> InLane:
    """Find the strips in and near the lane, up to ``MOST_STRIPS``, and what else lies there.

    Raises
    ------
    Refused
        ``no_strip`` when the lane is empty, ``wrong_kind`` when what lies there has other pads, ``shadow_on_pads`` or
        ``glare_on_pads`` when the pads can't be used; of several strips, when that is so of all of them.
        ``strips_touch`` where strips lie too near one another to be told apart.
    """
    lane = lane_map(view, layout())
    first = search(lane, kind)
    if first.pad_score < PAD_SEEN / 4 and first.carrier_score < CARRIER_SEEN:
        raise Refused(because("no_strip"))
    seen = _seen_outline(view, lane, first, kind) if kind.is_roll else _outline(first, kind)
    left = something_left(without(lane, seen))
    if left is None:
        alone = _measure(view, lane, first, kind)
        if crowded(alone.width_mm, alone.edge_colour, kind):
            raise Refused(because("strips_touch"))
        return InLane((alone,))
    places, outlines = [first], [_seen_outline(view, lane, first, kind)]
    while len(places) < MOST_STRIPS:
        rest = without(lane, *outlines)
        left = something_left(rest)
        place = search(rest, kind) if left is not None else None
        if place is None or place.pad_score <= max(SECOND_SHARE * first.pad_score, PAD_SEEN):
            break
        places.append(place)
        outlines.append(_seen_outline(view, rest, place, kind))
    else:
        left = something_left(without(lane, *outlines))
    found, unread = _measure_all(view, lane, places, outlines, kind)
    if any(one.reason.code in NO_STRIP_OF_KIND for one in unread.values()):
        # What is no strip hides nothing: its colours count again as what lies beside the others.
        held = sorted(found)
        found, dropped = _measure_all(view, lane, [places[n] for n in held], [found[n].outline_mm for n in held], kind)
        unread |= {held[n]: one for n, one in dropped.items()}
    others = [one.outline_mm for one in unread.values() if one.reason.code == "wrong_kind"]
    if entangled([strip.outline_mm for strip in found.values()], others):
        raise Refused(because("strips_touch"))
    if not found:
        raise Refused(unread[0].reason)
    strips = tuple(sorted(found.values(), key=lambda strip: float(strip.outline_mm[:, 1].mean())))
    if len(places) == 1 and crowded(strips[0].width_mm, strips[0].edge_colour, kind):
        raise Refused(because("strips_touch"))
    return InLane(strips, tuple(unread.values()), left)


def _measure_all(
    view: CardView, lane: LaneMap, places: list[Place], outlines: list[Array], kind: StripKind
) -> tuple[dict[int, FoundStrip], dict[int, Unread]]:
    """Each place measured with the others' outlines (4, 2) mm taken out, by its number: strips, and what is none."""
    found: dict[int, FoundStrip] = {}
    unread: dict[int, Unread] = {}
    outlines = list(outlines)
    for n in range(len(places) - 1, -1, -1):  # the best last: all that lies beside it is known by then
        # Another strip's edge beside the pads is no shadow's, and its carrier is no bare paper.
        others = [outline for k, outline in enumerate(outlines) if k != n]
        try:
            found[n] = _measure(view, without(lane, *others) if others else lane, places[n], kind)
            outlines[n] = found[n].outline_mm
        except Refused as refused:
            unread[n] = Unread(outlines[n], refused.reason)
    return found, unread


def _seen_outline(view: CardView, lane: LaneMap, place: Place, kind: StripKind) -> Array:
    """Corners (4, 2) mm of what lies at a place: as measured, else as the kind has it."""
    with suppress(Refused):
        return _measure(view, lane, place, kind).outline_mm
    return _outline(place, kind)


def _outline(place: Place, kind: StripKind) -> Array:
    """Corners (4, 2) mm of a strip of this kind at a place, as in ``FoundStrip``."""
    half = kind.width_mm / 2
    return place.to_mm(np.array([[0.0, -half], [kind.length_mm, -half], [kind.length_mm, half], [0.0, half]]))


def _measure(view: CardView, lane: LaneMap, place: Place, kind: StripKind) -> FoundStrip:
    """Refine one place, check that the kind fits, and choose the pixels of each pad."""
    fitted = refine(lane, place, straighten(lane, place, kind), kind)
    settled = fitted.place if kind.is_roll else settle(fitted.frame, fitted.place, kind)
    if settled != fitted.place:
        fitted = refine(lane, settled, straighten(lane, settled, kind), kind)
    elif fitted.moved_mm > AGAIN_MM:
        fitted = refine(lane, settled, fitted.frame, kind)
    place, frame, own, width = fitted.place, fitted.frame, fitted.own, fitted.width_mm
    spans = [(p.offset_mm + d, p.offset_mm + d + p.length_mm) for p, d in zip(kind.pads, own, strict=True)]
    length = kind.length_mm
    if kind.is_roll:
        start, stop = ends_of_roll(frame, kind)
        spans, length = [(start, stop)], stop
    contrast = contrasts(frame, spans, width)
    if contrast.max() < PAD_FAINT and place.carrier_score < CARRIER_PLAIN:
        raise Refused(because("no_strip"))
    shadow = find_shadow(lane, place, (spans[0][0], spans[-1][1]), width)
    shade = _shade(shadow, spans)
    beside = edge_colour(lane, place, (spans[0][0], spans[-1][1]), width)
    if shade > SHADOW_REFUSED:  # before the kind: half shaded pads fit no kind; a shadow has no colour of its own
        raise Refused(because("strips_touch" if beside > EDGE_COLOUR else "shadow_on_pads"))
    shine = shining(frame, spans, width)
    problem = misfit_of_kind(frame, kind, spans, contrast)
    if shine > SHINE_REFUSED or (problem is not None and shine > SHINE_SUSPECT):
        raise Refused(because("glare_on_pads"))
    if problem is not None:
        raise Refused(problem)
    seat = _Seat(view, lane, place, width, shadow)
    pads = [_pad(seat, span, float(c)) for span, c in zip(spans, contrast, strict=True)]
    reasons = _judge(pads, shade)
    start = min(0.0, spans[0][0]) if not kind.is_roll else spans[0][0]
    box = np.array([[start, -width / 2], [length, -width / 2], [length, width / 2], [start, width / 2]])
    return FoundStrip(
        outline_mm=place.to_mm(box),
        end="left" if place.along[0] > 0 else "right",
        pads=tuple(pads),
        contrast=float(contrast.max()),
        width_mm=width,
        reasons=tuple(reasons),
        edge_colour=beside,
    )


@dataclass(frozen=True)
class _Seat:
    """Where a strip lies, for measuring its pads one by one."""

    view: CardView
    lane: LaneMap
    place: Place
    width_mm: float
    shadow: Shadow

    def box(self, s0: float, s1: float, half_mm: float) -> Array:
        """A box on the strip as card corners (4, 2) mm, dipped end first."""
        return self.place.to_mm(np.array([[s0, -half_mm], [s1, -half_mm], [s1, half_mm], [s0, half_mm]]))


def _pad(seat: _Seat, span: tuple[float, float], contrast: float) -> PadRegion:
    """The pixels of one pad that count, and what was noticed on it."""
    a, b = span
    view, width = seat.view, seat.width_mm
    quad = seat.box(a, b, width / 2)
    mask, origin = cover(view, quad, min(MARGIN_MM, MARGIN_SHARE * min(width, b - a)))
    paper = _paper_beside(seat, span, seat.lane.paper_rgb(quad.mean(axis=0)[None])[0])
    left, glare, uneven, clipped = usable(view, mask, origin, paper)
    carrier, carrier_origin = cover(view, seat.box(b + 0.3, b + 1.0, 0.4 * width), 0.0)
    return PadRegion(
        quad_mm=quad,
        mask=left,
        origin=origin,
        glare=glare,
        uneven=uneven,
        clipped=clipped,
        shadow=_shade(seat.shadow, [span]) > SHADOW_DOUBT,
        score=contrast,
        paper_rgb=paper,
        carrier=carrier,
        carrier_origin=carrier_origin,
    )


def _paper_beside(seat: _Seat, span: tuple[float, float], fallback: Array) -> Array:
    """Median encoded value (3,) of the bare paper on both sides of a pad; the surface's value if print lies there."""
    s, t = np.meshgrid(np.linspace(span[0], span[1], 7), seat.width_mm / 2 + np.arange(1.2, 3.6, 0.4))
    points = np.concatenate([np.stack([s.ravel(), side * t.ravel()], axis=1) for side in (-1, 1)])
    lane = seat.lane
    px = np.rint(lane.to_px(seat.place.to_mm(points))).astype(int)
    height, w = lane.known.shape
    px = px[(px[:, 0] >= 0) & (px[:, 0] < w) & (px[:, 1] >= 0) & (px[:, 1] < height)]
    px = px[lane.known[px[:, 1], px[:, 0]]]
    if len(px) < 20:
        return fallback
    ratio = medians(lane.ratio[px[:, 1], px[:, 0]])
    return np.asarray(np.clip(fallback * np.exp(ratio.astype(np.float64)), 0.0, 1.0))


def _shade(shadow: Shadow, spans: list[tuple[float, float]]) -> float:
    """The largest step of light that matters to the pads."""
    return max([shadow.near(a - 0.5, b + 0.5) for a, b in spans] + [0.7 * shadow.across])


def _judge(pads: list[PadRegion], shade: float) -> list[Reason]:
    """Doubts about the pads.

    Raises
    ------
    Refused
        ``glare_on_pads``.
    """
    reasons: list[Reason] = []
    if any(1.0 - p.glare < GLARE_LEFT for p in pads):
        raise Refused(because("glare_on_pads"))
    if shade > SHADOW_DOUBT:
        reasons.append(because("uneven_light", _("a shadow edge lies near the pads")))
    if any(p.glare > GLARE_DOUBT for p in pads):
        reasons.append(because("some_glare"))
    odd = [n + 1 for n, p in enumerate(pads) if p.uneven > UNEVEN_DOUBT]
    if odd:
        reasons.append(because("uneven_pad", _("pad {number}", number=odd[0])))
    return reasons
