"""Whether what lies there is a strip of this kind: the colours along its axis held against the kind's pads."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from stripread.reasons import Reason, because
from stripread.robust import medians
from stripread.strip.fit import Frame, Pieces
from stripread.tuned import tuned
from stripread.words import _

if TYPE_CHECKING:
    from stripread.kind import StripKind

Array = NDArray[np.float64]
Spans = list[tuple[float, float]]

_TUNED = tuned("stripread.strip")
PAD_SEEN = _TUNED.number("pad_seen")
STEEPEST_DEG = _TUNED.number("steepest_deg")
COLOUR_BESIDE = _TUNED.number("colour_beside")
GOES_ON = _TUNED.number("goes_on")
EDGE_SEEN = _TUNED.number("pad_edge_seen")
STRAY_COLOUR = _TUNED.number("stray_colour")
ROLL_SHORTEST = _TUNED.number("roll_shortest")
RIM_MM = 1.6  # colour that near a pad is its own wet rim
SHINE = _TUNED.number("carrier_shine")
LEAST_EXPLAINED = _TUNED.number("least_explained")


def contrasts(frame: Frame, spans: Spans, width: float) -> Array:
    """Contrast of each pad to its carrier (or paper, where no carrier is seen): norm of the log difference, (P,)."""
    profile = frame.along(0.33 * width)
    s = frame.s_mm
    bare = (s > spans[-1][1] + 1.5) & (s < spans[-1][1] + 9.0)
    carrier = medians(profile[bare]) if bare.sum() > 4 else np.zeros(3)
    if np.abs(carrier).max() > 0.15:  # not bare after all
        carrier = np.zeros(3)
    means = [medians(profile[(s > a + 0.8) & (s < b - 0.8)]) for a, b in spans]
    return np.asarray(np.linalg.norm(np.array(means) - carrier, axis=1) / np.sqrt(3.0))


def misfit_of_kind(frame: Frame, kind: StripKind, spans: Spans, contrast: Array) -> Reason | None:
    """What speaks against this kind: colours on the strip's axis that do not lie where it has its pads.

    ``contrast`` (P,): how each pad stands out.
    """
    if abs(np.cos(frame.angle)) < np.cos(np.radians(STEEPEST_DEG)):
        return because("wrong_kind", _("what lies there is turned too far"))
    colour = frame.beside(spans[0][0], spans[-1][1])
    strong = float(contrast.max())
    if colour > max(COLOUR_BESIDE, 0.3 * strong) or frame.around(spans, kind.width_mm / 2) > GOES_ON:
        return because("no_strip")
    if kind.is_roll:
        return because("no_strip") if contrast[0] < PAD_SEEN / 2 else _misfit_of_roll(frame, kind, spans[0])
    return _misfit_of_pads(frame, kind, spans, contrast)


def _misfit_of_pads(frame: Frame, kind: StripKind, spans: Spans, contrast: Array) -> Reason | None:
    """What speaks against these pads: colour elsewhere on the axis, most pads unseen, or pads that lie elsewhere."""
    strong = float(contrast.max())
    profile = frame.along(0.33 * kind.width_mm)
    s = frame.s_mm
    norm = np.linalg.norm(profile, axis=1) / np.sqrt(3.0)
    free = (s > -6.0) & (s < kind.length_mm + 2.0) & (frame.known > 0.9)
    for a, b in spans:
        free &= (s < a - RIM_MM) | (s > b + RIM_MM)
    stray = norm[free] > max(STRAY_COLOUR, 0.4 * float(np.median(contrast)))
    if stray.sum() * frame.step_mm > 2.0:
        return because("wrong_kind", _("there is colour where it has no pad"))
    seen = (contrast > max(PAD_SEEN / 3, 0.035 * strong)) & (_steps_at_edges(frame, spans, kind.width_mm) > EDGE_SEEN)
    if len(spans) > 1 and seen.sum() < 0.5 * len(spans):
        return because("wrong_kind", _("{seen} of {n_spans} pads are seen", seen=int(seen.sum()), n_spans=len(spans)))
    if contrast.max() > 2 * PAD_SEEN and _share_explained(frame, spans) < LEAST_EXPLAINED:
        return because("wrong_kind", _("the pads lie elsewhere"))
    return None


def _steps_at_edges(frame: Frame, spans: Spans, width: float) -> Array:
    """Log contrast of each pad to what lies just before and after it, the smaller of the two, (P,)."""
    profile = frame.along(0.33 * width)
    s = frame.s_mm
    steps = []
    for a, b in spans:
        pad = medians(profile[(s > a + 0.8) & (s < b - 0.8)])
        beside = (profile[(s > x) & (s < x + 0.8)].mean(axis=0) for x in (a - 1.0, b + 0.2))
        steps.append(min(float(np.linalg.norm(pad - other)) for other in beside))
    return np.asarray(np.array(steps) / np.sqrt(3.0))


def _misfit_of_roll(frame: Frame, kind: StripKind, span: tuple[float, float]) -> Reason | None:
    """What speaks against roll paper: too short a piece, or not of one colour along it."""
    start, stop = span
    if stop - start < ROLL_SHORTEST * kind.length_mm:
        return because("wrong_kind", _("the piece is only {stop:.0f} mm long", stop=stop - start))
    profile = frame.along(0.33 * kind.width_mm)
    inside = profile[(frame.s_mm > start + 1.0) & (frame.s_mm < stop - 1.0) & (frame.known > 0.5)]
    middle = medians(inside)
    off = np.linalg.norm(inside - middle, axis=1)
    if np.mean(off > 0.1 + 0.25 * float(np.linalg.norm(middle))) > 0.3:
        return because("wrong_kind", _("it is not of one colour"))
    return None


def _share_explained(frame: Frame, spans: Spans) -> float:
    """Share of the colour variation along the pads that pads of one colour each at these places explain."""
    profile = frame.along(0.33 * (frame.t_mm[-1] - frame.t_mm[0]) / 3)
    low, high = spans[0][0] - 1.8, spans[-1][1] + 1.8
    here = (frame.s_mm >= low) & (frame.s_mm <= high)
    total = float((profile[here] ** 2).sum())
    pieces = Pieces(frame.s_mm, profile)
    a, b = (np.array(v) for v in zip(*spans, strict=True))
    return float(pieces.energy(a, b)[2].sum()) / max(total, 1e-9)


def ends_of_roll(frame: Frame, kind: StripKind) -> tuple[float, float]:
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


def shining(frame: Frame, spans: Spans, width: float) -> float:
    """Largest share of a pad that is brighter than bare paper, both that beside it and that of the whole lane."""
    core = np.abs(frame.t_mm) < 0.4 * width
    both = np.minimum(frame.ratio[core].mean(axis=2), frame.raw[core].mean(axis=2))
    shares = []
    for a, b in spans:
        block = both[:, (frame.s_mm > a + 0.5) & (frame.s_mm < b - 0.5)]
        shares.append(float((block > SHINE).mean()) if block.size else 0.0)
    return max(shares)
