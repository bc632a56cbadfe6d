"""The strip and its pads, found from the picture: where they lie, which pixels count, and what speaks against them."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from stripread.card import layout
from stripread.errors import Refused
from stripread.kind import StripKind
from stripread.lanemap import LaneMap, lane_map
from stripread.padmask import PadRegion, cover, usable
from stripread.reasons import Reason, because
from stripread.shadow import Shadow, find_shadow
from stripread.stripfit import Frame, Pieces, refine, straighten
from stripread.striporder import settle
from stripread.stripsearch import Place, search
from stripread.view import CardView

Array = NDArray[np.float64]

PAD_SEEN = 0.05  # log contrast to carrier or paper from which a pad is surely there
CARRIER_SEEN = 0.006  # contrast of the bare carrier, averaged over its whole length
PAD_FAINT, CARRIER_PLAIN = 0.03, 0.02  # with no pad above the one, the carrier must be above the other
STEEPEST_DEG = 19.0
COLOUR_BESIDE = 0.06  # colour (log ratio, grey taken out) on both sides of the pads where paper should be
GOES_ON = 0.25  # share of a pad's surroundings with its own colour: then it is part of something larger
STRAY_COLOUR = 0.12  # log contrast on the carrier where this kind has no pad
ROLL_SHORTEST = 0.3  # pieces are torn off by hand, but not that short
RIM_MM = 1.6  # colour that near a pad is its own wet rim
SHINE, SHINE_REFUSED, SHINE_SUSPECT = 0.06, 0.4, 0.1  # log ratio above paper; shares of a pad
GLARE_LEFT, GLARE_DOUBT = 0.3, 0.12  # least share of a pad; shining share worth a word
UNEVEN_DOUBT = 0.3
SHADOW_REFUSED, SHADOW_DOUBT = 0.07, 0.035  # step of log encoded value beside the pads
SECOND_SHARE = 0.4  # a second strip must match at least this well beside the first


@dataclass(frozen=True)
class FoundStrip:
    """One strip on the card.

    outline_mm (4, 2): corners, the dipped end's two first and last. angle_deg: direction from the dipped end to the
    other, 0 to the right, positive clockwise as seen. end: the side the dipped end lies to. pads in the kind's order.
    contrast: of the most visible pad to its carrier (log ratio). width_mm: as seen. reasons: doubts.
    """

    outline_mm: Array
    angle_deg: float
    end: Literal["left", "right"]
    pads: tuple[PadRegion, ...]
    contrast: float
    width_mm: float
    reasons: tuple[Reason, ...]


def find_strips(view: CardView, kind: StripKind) -> tuple[FoundStrip, ...]:
    """Find the strips in and near the lane, the plainest first.

    Raises
    ------
    Refused
        ``no_strip`` when the lane is empty, ``wrong_kind`` when what lies there has other pads, ``shadow_on_pads`` or
        ``glare_on_pads`` when the pads can't be used.
    """
    lane = lane_map(view, layout())
    first = search(lane, kind)
    if first.pad_score < PAD_SEEN / 4 and first.carrier_score < CARRIER_SEEN:
        raise Refused(because("no_strip"))
    strips = [_measure(view, lane, first, kind)]
    rest = _without(lane, strips[0])
    second = search(rest, kind) if _something_left(rest) else None
    if second is not None and second.pad_score > max(SECOND_SHARE * first.pad_score, PAD_SEEN):
        with suppress(Refused):  # what lies beside is no strip of this kind: the first one stands
            strips.append(_measure(view, rest, second, kind))
    return tuple(strips)


def _measure(view: CardView, lane: LaneMap, place: Place, kind: StripKind) -> FoundStrip:
    """Refine one place, check that the kind fits, and choose the pixels of each pad."""
    fitted = refine(lane, place, straighten(lane, place, kind), kind)
    settled = fitted.place if kind.is_roll else settle(fitted.frame, fitted.place, kind)
    frame = fitted.frame if settled == fitted.place else straighten(lane, settled, kind)
    fitted = refine(lane, settled, frame, kind)
    place, frame, own, width = fitted.place, fitted.frame, fitted.own, fitted.width_mm
    spans = [(p.offset_mm + d, p.offset_mm + d + p.length_mm) for p, d in zip(kind.pads, own, strict=True)]
    length = kind.length_mm
    if kind.is_roll:
        start, stop = _ends_of_roll(frame, kind)
        spans, length = [(start, stop)], stop
    contrast = _contrasts(frame, spans, width)
    if contrast.max() < PAD_FAINT and place.carrier_score < CARRIER_PLAIN:
        raise Refused(because("no_strip"))
    shadow = find_shadow(lane, place, (spans[0][0], spans[-1][1]), width)
    shade = _shade(shadow, spans)
    if shade > SHADOW_REFUSED:  # before the kind: half shaded pads fit no kind
        raise Refused(because("shadow_on_pads"))
    shine = _shining(frame, spans, width)
    problem = _misfit_of_kind(frame, kind, spans, contrast)
    if shine > SHINE_REFUSED or (problem is not None and shine > SHINE_SUSPECT):
        raise Refused(because("glare_on_pads"))
    if problem is not None:
        raise Refused(problem)
    pads = [_pad(view, lane, place, span, width, float(c), shadow) for span, c in zip(spans, contrast, strict=True)]
    reasons = _judge(pads, shade)
    start = min(0.0, spans[0][0]) if not kind.is_roll else spans[0][0]
    box = np.array([[start, -width / 2], [length, -width / 2], [length, width / 2], [start, width / 2]])
    angle = float(np.degrees(np.arctan2(place.along[1], place.along[0])))
    return FoundStrip(
        outline_mm=place.to_mm(box),
        angle_deg=angle,
        end="left" if place.along[0] > 0 else "right",
        pads=tuple(pads),
        contrast=float(contrast.max()),
        width_mm=width,
        reasons=tuple(reasons),
    )


def _contrasts(frame: Frame, spans: list[tuple[float, float]], width: float) -> Array:
    """Contrast of each pad to its carrier (or paper, where no carrier is seen): norm of the log difference, (P,)."""
    profile = frame.along(0.33 * width)
    s = frame.s_mm
    bare = (s > spans[-1][1] + 1.5) & (s < spans[-1][1] + 9.0)
    carrier = np.median(profile[bare], axis=0) if bare.sum() > 4 else np.zeros(3)
    if np.abs(carrier).max() > 0.15:  # not bare after all
        carrier = np.zeros(3)
    means = [np.median(profile[(s > a + 0.8) & (s < b - 0.8)], axis=0) for a, b in spans]
    return np.asarray(np.linalg.norm(np.array(means) - carrier, axis=1) / np.sqrt(3.0))


def _misfit_of_kind(frame: Frame, kind: StripKind, spans: list[tuple[float, float]], contrast: Array) -> Reason | None:
    """What speaks against this kind: colours on the strip's axis that do not lie where it has its pads."""
    least = float(np.abs(np.cos(frame.angle)))
    if least < np.cos(np.radians(STEEPEST_DEG)):
        return because("wrong_kind", "what lies there is turned too far")
    colour = frame.beside(spans[0][0], spans[-1][1])
    strong = float(contrast.max())
    if colour > max(COLOUR_BESIDE, 0.3 * strong) or frame.around(spans, kind.width_mm / 2) > GOES_ON:
        return because("no_strip")
    if kind.is_roll:
        return because("no_strip") if contrast[0] < PAD_SEEN / 2 else _misfit_of_roll(frame, kind, spans[0])
    profile = frame.along(0.33 * kind.width_mm)
    s = frame.s_mm
    norm = np.linalg.norm(profile, axis=1) / np.sqrt(3.0)
    free = (s > -6.0) & (s < kind.length_mm + 2.0) & (frame.known > 0.9)
    for a, b in spans:
        free &= (s < a - RIM_MM) | (s > b + RIM_MM)
    stray = norm[free] > max(STRAY_COLOUR, 0.4 * float(np.median(contrast)))
    if stray.sum() * frame.step_mm > 2.0:
        return because("wrong_kind", "there is colour where it has no pad")
    seen = contrast > max(PAD_SEEN / 3, 0.035 * strong)
    if len(spans) > 1 and seen.sum() < 0.5 * len(spans):
        return because("wrong_kind", f"{int(seen.sum())} of {len(spans)} pads are seen")
    if contrast.max() > 2 * PAD_SEEN and _share_explained(frame, spans) < 0.72:
        return because("wrong_kind", "the pads lie elsewhere")
    return None


def _misfit_of_roll(frame: Frame, kind: StripKind, span: tuple[float, float]) -> Reason | None:
    """What speaks against roll paper: too short a piece, or not of one colour along it."""
    start, stop = span
    if stop - start < ROLL_SHORTEST * kind.length_mm:
        return because("wrong_kind", f"the piece is only {stop - start:.0f} mm long")
    profile = frame.along(0.33 * kind.width_mm)
    inside = profile[(frame.s_mm > start + 1.0) & (frame.s_mm < stop - 1.0) & (frame.known > 0.5)]
    middle = np.median(inside, axis=0)
    off = np.linalg.norm(inside - middle, axis=1)
    if np.mean(off > 0.1 + 0.25 * float(np.linalg.norm(middle))) > 0.3:
        return because("wrong_kind", "it is not of one colour")
    return None


def _share_explained(frame: Frame, spans: list[tuple[float, float]]) -> float:
    """Share of the colour variation along the pads that pads of one colour each at these places explain."""
    profile = frame.along(0.33 * (frame.t_mm[-1] - frame.t_mm[0]) / 3)
    low, high = spans[0][0] - 1.8, spans[-1][1] + 1.8
    here = (frame.s_mm >= low) & (frame.s_mm <= high)
    total = float((profile[here] ** 2).sum())
    pieces = Pieces(frame.s_mm, profile)
    a, b = (np.array(v) for v in zip(*spans, strict=True))
    return float(pieces.energy(a, b)[2].sum()) / max(total, 1e-9)


def _ends_of_roll(frame: Frame, kind: StripKind) -> tuple[float, float]:
    """Start and end of a piece of roll paper along its axis."""
    pieces = Pieces(frame.s_mm, frame.along(0.33 * kind.width_mm))
    near = np.arange(-25.0, 15.0, 0.5)
    starts, stops = (g.ravel() for g in np.meshgrid(near, np.arange(8.0, kind.length_mm * 1.6 + 10.0, 0.5)))
    ok = stops - starts > 5.0
    starts, stops = starts[ok], stops[ok]
    best = int(np.argmax(pieces.energy(starts, stops)[2]))
    fine = np.arange(-0.5, 0.51, 0.1)
    starts, stops = (g.ravel() for g in np.meshgrid(starts[best] + fine, stops[best] + fine))
    best = int(np.argmax(pieces.energy(starts, stops)[2]))
    return float(starts[best]), float(stops[best])


def _pad(
    view: CardView,
    lane: LaneMap,
    place: Place,
    span: tuple[float, float],
    width: float,
    contrast: float,
    shadow: Shadow,
) -> PadRegion:
    """The pixels of one pad that count, and what was noticed on it."""
    a, b = span
    quad = place.to_mm(np.array([[a, -width / 2], [b, -width / 2], [b, width / 2], [a, width / 2]]))
    mask, origin = cover(view, quad, min(0.8, 0.16 * min(width, b - a)))
    centre = quad.mean(axis=0)[None]
    paper = _paper_beside(view, lane, place, span, width, lane.paper_rgb(centre)[0])
    left, glare, uneven, clipped = usable(view, mask, origin, paper)
    strip = place.to_mm(
        np.array([[b + 0.3, -0.4 * width], [b + 1.0, -0.4 * width], [b + 1.0, 0.4 * width], [b + 0.3, 0.4 * width]])
    )
    carrier, carrier_origin = cover(view, strip, 0.0)
    return PadRegion(
        quad_mm=quad,
        mask=left,
        origin=origin,
        glare=glare,
        uneven=uneven,
        clipped=clipped,
        shadow=max(shadow.near(a, b), 0.5 * shadow.across) > SHADOW_DOUBT,
        score=contrast,
        paper_rgb=paper,
        carrier=carrier,
        carrier_origin=carrier_origin,
    )


def _paper_beside(
    view: CardView, lane: LaneMap, place: Place, span: tuple[float, float], width: float, fallback: Array
) -> Array:
    """Median encoded value (3,) of the bare paper on both sides of a pad; the surface's value if print lies there."""
    s, t = np.meshgrid(np.linspace(span[0], span[1], 7), np.arange(width / 2 + 1.2, width / 2 + 3.6, 0.4))
    points = np.concatenate([np.stack([s.ravel(), side * t.ravel()], axis=1) for side in (-1, 1)])
    px = np.rint(lane.to_px(place.to_mm(points))).astype(int)
    height, w = lane.known.shape
    px = px[(px[:, 0] >= 0) & (px[:, 0] < w) & (px[:, 1] >= 0) & (px[:, 1] < height)]
    px = px[lane.known[px[:, 1], px[:, 0]]]
    if len(px) < 20:
        return fallback
    ratio = np.median(lane.ratio[px[:, 1], px[:, 0]], axis=0)
    return np.asarray(np.clip(fallback * np.exp(ratio.astype(np.float64)), 0.0, 1.0))


def _shade(shadow: Shadow, spans: list[tuple[float, float]]) -> float:
    """The largest step of light that matters to the pads."""
    return max(*(shadow.near(a - 0.5, b + 0.5) for a, b in spans), 0.7 * shadow.across)


def _shining(frame: Frame, spans: list[tuple[float, float]], width: float) -> float:
    """Largest share of a pad that is brighter than bare paper."""
    core = np.abs(frame.t_mm) < 0.4 * width
    shares = []
    for a, b in spans:
        block = frame.ratio[core][:, (frame.s_mm > a + 0.5) & (frame.s_mm < b - 0.5)]
        shares.append(float((block.mean(axis=2) > SHINE).mean()) if block.size else 0.0)
    return max(shares)


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
        reasons.append(because("uneven_light", "a shadow edge lies near the pads"))
    if any(p.glare > GLARE_DOUBT for p in pads):
        reasons.append(because("some_glare"))
    odd = [n + 1 for n, p in enumerate(pads) if p.uneven > UNEVEN_DOUBT]
    if odd:
        reasons.append(because("uneven_pad", f"pad {odd[0]}"))
    return reasons


def _something_left(lane: LaneMap) -> bool:
    """Whether clear colour is left on the lane: enough pixels for half a pad."""
    clear = cv2.transform(np.abs(lane.ratio), np.full((1, 3), 1.0 / 3.0, np.float32)) > PAD_SEEN
    return float(clear.sum()) / lane.px_per_mm**2 > 8.0


def _without(lane: LaneMap, strip: FoundStrip) -> LaneMap:
    """The map with a strip's footprint turned to paper."""
    corner = strip.outline_mm[0]
    along, across = strip.outline_mm[1] - corner, strip.outline_mm[3] - corner
    one, two = along / np.hypot(*along), across / np.hypot(*across)
    wide = np.array([[-3.0, -1.2], [3.0, -1.2], [3.0, 1.2], [-3.0, 1.2]])
    quad = lane.to_px(strip.outline_mm + wide[:, :1] * one + wide[:, 1:] * two)
    ratio = lane.ratio.copy()
    cv2.fillConvexPoly(ratio, np.rint(quad).astype(np.int32), (0.0, 0.0, 0.0))
    return replace(lane, ratio=ratio)
