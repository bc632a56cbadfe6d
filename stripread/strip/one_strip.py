"""One strip measured at its place: axis and pads fitted, the kind checked, each pad's pixels chosen, doubts named."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from stripread.errors import Refused
from stripread.reasons import Reason, because
from stripread.robust import medians
from stripread.strip.fit import refine, straighten
from stripread.strip.kind_fits import contrasts, ends_of_roll, misfit_of_kind, shining
from stripread.strip.order import settle
from stripread.strip.pixels import MARGIN_MM, PadRegion, cover, usable
from stripread.strip.shadow import Shadow, find_shadow
from stripread.strip.touching import EDGE_COLOUR, edge_colour
from stripread.tuned import tuned
from stripread.words import _

if TYPE_CHECKING:
    from stripread.card.view import CardView
    from stripread.kind import StripKind
    from stripread.strip.lane import LaneMap
    from stripread.strip.search import Place

Array = NDArray[np.float64]

_TUNED = tuned("stripread.strip")
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


def seen_outline(view: CardView, lane: LaneMap, place: Place, kind: StripKind) -> Array:
    """Corners (4, 2) mm of what lies at a place: as measured, else as the kind has it; roll paper end to end."""
    with suppress(Refused):
        return measure_strip(view, lane, place, kind).outline_mm
    if not kind.is_roll:
        return outline(place, kind)
    fitted = refine(lane, place, straighten(lane, place, kind), kind)
    start, stop = ends_of_roll(fitted.frame, kind)
    return _box(fitted.place, start, stop, kind.width_mm / 2)


def outline(place: Place, kind: StripKind) -> Array:
    """Corners (4, 2) mm of a strip of this kind at a place, as in ``FoundStrip``."""
    return _box(place, 0.0, kind.length_mm, kind.width_mm / 2)


def _box(place: Place, s0: float, s1: float, half_mm: float) -> Array:
    """A box on the strip as card corners (4, 2) mm, dipped end first."""
    return place.to_mm(np.array([[s0, -half_mm], [s1, -half_mm], [s1, half_mm], [s0, half_mm]]))


def measure_strip(view: CardView, lane: LaneMap, place: Place, kind: StripKind) -> FoundStrip:
    """Refine one place, check that the kind fits, and choose the pixels of each pad.

    Raises
    ------
    Refused
        ``no_strip``, ``wrong_kind``, ``strips_touch``, ``shadow_on_pads`` or ``glare_on_pads``.
    """
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
    return FoundStrip(
        outline_mm=_box(place, start, length, width / 2),
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


def _pad(seat: _Seat, span: tuple[float, float], contrast: float) -> PadRegion:
    """The pixels of one pad that count, and what was noticed on it."""
    a, b = span
    view, width = seat.view, seat.width_mm
    quad = _box(seat.place, a, b, width / 2)
    mask, origin = cover(view, quad, min(MARGIN_MM, MARGIN_SHARE * min(width, b - a)))
    paper = _paper_beside(seat, span, seat.lane.paper_rgb(quad.mean(axis=0)[None])[0])
    left, glare, uneven, clipped = usable(view, mask, origin, paper)
    carrier, carrier_origin = cover(view, _box(seat.place, b + 0.3, b + 1.0, 0.4 * width), 0.0)
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
