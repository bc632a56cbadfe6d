"""From the cut along the strip to millimetres: ends, pads and widths, each with its standard deviation."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from stripread.describe.along import CORE_SHARE, Cut
from stripread.describe.edges import NOWHERE_MM, Edges, fit_edges
from stripread.strip.pixels import GAMMA
from stripread.tuned import tuned

if TYPE_CHECKING:
    from stripread.describe.place import Axis
    from stripread.strip.fit import Frame

Array = NDArray[np.float64]
Spans = tuple[tuple[float, float], ...]

_TUNED = tuned("stripread.describe")
SHADOW_SD = _TUNED.number("shadow_sd")
FLUSH_GAIN = _TUNED.number("flush_gain")
CARD_SD_MM = 0.05  # of a place on the card, next to another: print, paper that is not quite flat, lens
LEAST_BLUR_MM = 0.12
AROUND_MM = 4.0  # of paper beyond the strip that the fit looks at
FLUSH_MM = 0.75  # less carrier than this at an end is not seen as such
SLIVER_MM = 0.1
INSET_MM = 0.7  # of a pad that is not looked at for its width: rims, blur


@dataclass(frozen=True)
class Measure:
    """A length with its standard deviation, mm."""

    mm: float
    sd: float


@dataclass(frozen=True)
class MeasuredPad:
    """One pad: where it begins from the strip's left end, its length, and how wide it is.

    contrast: to the carrier, as a share of the paper's light. evidence: see ``Cut``. first, last: its edges along the
    axis, mm.
    """

    offset: Measure
    length: Measure
    width: Measure
    contrast: float
    evidence: float
    first: Measure
    last: Measure


@dataclass(frozen=True)
class MeasuredStrip:
    """A strip along its axis: ends (mm along it), length, width, and the pads from the left.

    middle_mm: how far off the axis the middle of its width lies. carrier: (3,) its light as a share of the paper's.
    """

    start: Measure
    stop: Measure
    width: Measure
    middle_mm: float
    pads: tuple[MeasuredPad, ...]
    carrier: Array
    roll: bool

    @property
    def length(self) -> Measure:
        """From end to end."""
        return Measure(self.stop.mm - self.start.mm, _both(self.start.sd, self.stop.sd))


def measure_strip(axis: Axis, found: Cut, edge_mm: float) -> MeasuredStrip:
    """Fit all edges along and across; ``edge_mm``: 10-90 % width of edges on this card, NaN where unknown."""
    frame, width = axis.frame, axis.width_mm
    blur = _blur(edge_mm, frame.step_mm)
    roll = found.roll or not found.pads
    spans = () if roll else found.pads
    fit = _fit_along(frame, width, blur, found, spans)
    at, sd, level, carrier = fit
    pads = []
    across = _across(frame, width, blur, (at[0], at[-1]), [(at[2 * p + 1], at[2 * p + 2]) for p in range(len(spans))])
    for p in range(len(spans)):
        a, b = 2 * p + 1, 2 * p + 2
        wide = across.pads[p]
        pads.append(
            MeasuredPad(
                offset=Measure(float(at[a] - at[0]), _both(sd[a], sd[0])),
                length=Measure(float(at[b] - at[a]), _both(sd[a], sd[b])),
                width=_no_wider(wide, across.whole),
                contrast=float(np.abs(level[b] - carrier).max()),
                evidence=found.evidence[p],
                first=Measure(float(at[a]), float(sd[a])),
                last=Measure(float(at[b]), float(sd[b])),
            )
        )
    first, last = Measure(float(at[0]), float(sd[0])), Measure(float(at[-1]), float(sd[-1]))
    if roll:
        whole = Measure(last.mm - first.mm, _both(first.sd, last.sd))
        evidence = found.evidence[0] if found.evidence else 0.0
        contrast = float(np.abs(1.0 - carrier).max())
        pads.append(MeasuredPad(Measure(0.0, first.sd), whole, across.whole, contrast, evidence, first, last))
    return MeasuredStrip(first, last, across.whole, across.middle_mm, tuple(pads), carrier, roll)


def _fit_along(frame: Frame, width: float, blur: float, found: Cut, spans: Spans) -> tuple[Array, Array, Array, Array]:
    """The borders of all pieces along the axis (K,) mm, their sd (K,), levels before each (K + 1, 3), carrier's (3,).

    Pieces are paper, carrier, pad, carrier ... carrier, paper. A pad may begin or end with the strip itself; where it
    seems so it is fitted either way.
    """
    border = np.maximum.accumulate([found.start, *(edge for span in spans for edge in span), found.stop])
    last = len(border) - 1
    flush = frozenset(k for k in (0, last - 1) if spans and border[k + 1] - border[k] < FLUSH_MM)
    x = frame.s_mm
    here = (x > border[0] - AROUND_MM - 1.0) & (x < border[-1] + AROUND_MM + 1.0)
    light = _light(frame, np.abs(frame.t_mm) <= CORE_SHARE * width)[here]
    light[frame.known[here] < 0.7] = np.nan
    choices = {flush, flush - {0}, flush - {last - 1}}
    tried = {one: _fit_with(x[here], light, border, one, blur) for one in choices}
    cost = {one: fit.left + FLUSH_GAIN * len(flush - one) for one, (fit, _place, _bare) in tried.items()}
    best = min(tried, key=cost.__getitem__)
    fit, place, bare = tried[best]
    sd = np.hypot(fit.sd, CARD_SD_MM)[place]
    sd[[0, last]] += SLIVER_MM * np.array([0 in best, last - 1 in best])
    likely = {one: float(np.exp(-0.5 * (cost[one] - cost[best]))) for one in tried}
    for k in (0, last):  # an end may as well lie where another choice has it
        spread = sum(
            likely[one] * ((other.at[where[k]] - fit.at[place[k]]) ** 2 + other.sd[where[k]] ** 2)
            for one, (other, where, _bare) in tried.items()
            if one != best
        )
        sd[k] = np.sqrt((sd[k] ** 2 + spread) / sum(likely.values()))
    for k, outer, inner, depth in ((0, 0, 1, fit.shadow[0]), (last, -1, -2, fit.shadow[1])):
        step = float(np.abs(fit.level[outer] - fit.level[inner]).max())
        sd[k] = np.hypot(sd[k], SHADOW_SD * abs(depth) / max(abs(depth) + step, 1e-6))
    level = fit.level[np.append(place, place[last] + 1)]
    return fit.at[place], sd, level, fit.level[bare[0]] if bare else np.ones(3)


def _fit_with(
    x: Array, light: Array, border: Array, flush: frozenset[int], blur: float
) -> tuple[Edges, NDArray[np.int_], list[int]]:
    """The fit with the borders k and k + 1 of ``flush`` taken as one: it, where each border is in it, bare pieces."""
    last = len(border) - 1
    place = np.arange(last + 1)
    place[1:] -= 0 in flush
    place[last] -= last - 1 in flush
    start = np.zeros(place[last] + 1)
    for k in (0, last, *range(1, last)):
        start[place[k]] = border[k]
    bare = [int(place[k]) + 1 for k in range(0, last, 2) if k not in flush]
    return fit_edges(x, light, start, [bare], blur), place, bare


@dataclass(frozen=True)
class _Across:
    """Widths: of the whole strip and of each pad, and how far off the axis the strip's middle lies."""

    whole: Measure
    middle_mm: float
    pads: tuple[Measure, ...]


def _across(
    frame: Frame, width: float, blur: float, ends: tuple[float, float], spans: list[tuple[float, float]]
) -> _Across:
    """Widths of what lies between the ends: of each pad and of the bare carrier, whose edges are the strip's own."""
    bare = (frame.s_mm > ends[0] + INSET_MM) & (frame.s_mm < ends[1] - INSET_MM) & (frame.known > 0.7)
    pads = []
    for a, b in spans:
        here = (frame.s_mm > a + INSET_MM) & (frame.s_mm < b - INSET_MM) & (frame.known > 0.7)
        pads.append(_two_edges(frame, here, width, blur))
        bare &= (frame.s_mm < a - INSET_MM) | (frame.s_mm > b + INSET_MM)
    carrier = _two_edges(frame, bare, width, blur)
    best = carrier if not pads else min([carrier, *pads], key=lambda pair: pair[0].sd)
    # A pad may be narrower than its carrier, never wider: the carrier's own edges go first where they are seen.
    whole = carrier if carrier[0].sd < 0.25 or not pads else best
    return _Across(whole[0], whole[1], tuple(wide for wide, _ in pads))


def _no_wider(pad: Measure, strip: Measure) -> Measure:
    """A pad's width where the strip ends, too: what lies beyond is light, not pad, and is doubt."""
    beyond = max(pad.mm - strip.mm, 0.0)
    return Measure(pad.mm - beyond, float(np.hypot(pad.sd, beyond)))


def _two_edges(frame: Frame, columns: NDArray[np.bool_], width: float, blur: float) -> tuple[Measure, float]:
    """Width of what lies in these columns (N,), and its middle off the axis."""
    if columns.sum() < 3:
        return Measure(width, NOWHERE_MM), 0.0
    ratio = frame.ratio[:, columns]
    light = np.asarray(np.exp(GAMMA * ratio.astype(np.float64)).mean(axis=1))
    t = frame.t_mm
    near = np.abs(t) < width / 2 + 2.5
    fit = fit_edges(t[near], light[near], np.array([-width / 2, width / 2]), [], blur)
    sd = np.hypot(fit.sd, CARD_SD_MM)
    return Measure(float(fit.at[1] - fit.at[0]), _both(sd[0], sd[1])), float(fit.at.mean())


def _light(frame: Frame, rows: NDArray[np.bool_]) -> Array:
    """Light along the strip (N, 3) as a share of the paper's, of the chosen rows."""
    return np.asarray(np.exp(GAMMA * frame.ratio[rows].astype(np.float64)).mean(axis=0))


def _blur(edge_mm: float, step_mm: float) -> float:
    """Standard deviation of the blur, that of laying straight included; 10-90 % of a Gaussian's step is 2.563 of it."""
    own = edge_mm / 2.563 if np.isfinite(edge_mm) else 0.3
    return float(max(LEAST_BLUR_MM, np.hypot(own, step_mm / np.sqrt(6.0))))


def _both(one: float, other: float) -> float:
    return float(np.hypot(one, other))
