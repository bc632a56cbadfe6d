"""The strip's own frame: pads and carrier placed to a fraction of a millimetre by least squares on profiles.

Every fit has the same form: a profile is cut into pieces, each piece has one colour, and the cut with the smallest
sum of squared residuals is taken. A pad without contrast then costs nothing and is placed by its neighbours.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from stripread.strip.search import BAND_MM, GAP_MM, Place, pattern_middle
from stripread.tuned import tuned

if TYPE_CHECKING:
    from stripread.kind import StripKind
    from stripread.strip.lane import LaneMap

Array = NDArray[np.float64]

REACH_MM = 90.0  # the frame runs this far beyond either side of the pads' middle
PAD_SHIFT_MM = 0.6  # how far one pad may lie from its place among the others
CHUNK_MM = 9.0  # pieces of bare carrier that are placed across the strip
MAX_FRAME_PX_PER_MM = 3.0
_TUNED = tuned("stripread.strip")
CARRIER_SAY = _TUNED.number("carrier_say")


@dataclass(frozen=True)
class Frame:
    """The strip laid straight: ratio (rows, columns, 3), across and along, relative to the paper on both sides of it.

    s_mm (columns) from the dipped end, t_mm (rows) from the axis. known: share of columns' pixels that show no print.
    sides (2, columns, 3), raw: the two sides and
    the strip relative to the lane's paper as a whole. angle: the axis on the card, rad.
    """

    ratio: NDArray[np.float32]
    known: Array
    s_mm: Array
    t_mm: Array
    sides: NDArray[np.float32]
    raw: NDArray[np.float32]
    angle: float

    @property
    def step_mm(self) -> float:
        """Size of a pixel."""
        return float(self.s_mm[1] - self.s_mm[0])

    def beside(self, s0: float, s1: float) -> float:
        """Colour, grey taken out, on the less coloured side between s0 and s1, where bare paper should be."""
        here = (self.s_mm >= s0) & (self.s_mm <= s1)
        mean = np.median(self.sides[:, here], axis=1)
        return float(np.linalg.norm(mean - mean.mean(axis=1, keepdims=True), axis=1).min())

    def around(self, spans: list[tuple[float, float]], half_mm: float) -> float:
        """Largest share of a pad's surroundings, 1 to 3 mm from its edges, that has the pad's own colour."""
        near_s, near_t = (
            (self.s_mm > spans[0][0] - 3.0) & (self.s_mm < spans[-1][1] + 3.0),
            np.abs(self.t_mm) < half_mm + 3.0,
        )
        outside = np.abs(self.t_mm)[:, None] > half_mm + 1.0
        free = outside | np.all([(self.s_mm < a - 1.0) | (self.s_mm > b + 1.0) for a, b in spans], axis=0)[None]
        shares = []
        for a, b in spans:
            pad = np.median(
                self.raw[np.ix_(np.abs(self.t_mm) < 1.5, (self.s_mm > a + 1) & (self.s_mm < b - 1))], axis=(0, 1)
            )
            ring = (
                free
                & near_t[:, None]
                & ((self.s_mm > a - 3.0) & (self.s_mm < b + 3.0) & near_s & (self.known > 0))[None]
            )
            like = self.raw[ring] @ pad > 0.6 * float(pad @ pad)
            if np.linalg.norm(pad) > 0.15 and like.size > 20:
                shares.append(float(like.mean()))
        return max(shares, default=0.0)

    def across(self, s0: float, s1: float) -> Array:
        """Mean colour against t of the columns from s0 to s1: (rows, 3)."""
        columns = (self.s_mm >= s0) & (self.s_mm <= s1) & (self.known > 0.5)
        if columns.sum() < 2:
            return np.zeros((len(self.t_mm), 3))
        return np.asarray(self.ratio[:, columns].mean(axis=1), dtype=np.float64)

    def along(self, half_mm: float) -> Array:
        """Mean colour against s of the rows within half_mm of the axis: (columns, 3)."""
        return np.asarray(self.ratio[np.abs(self.t_mm) <= half_mm].mean(axis=0), dtype=np.float64)


def straighten(lane: LaneMap, place: Place, kind: StripKind) -> Frame:
    """Resample the lane along the strip and divide by the paper on both sides of it, column by column."""
    ppm = min(lane.px_per_mm, MAX_FRAME_PX_PER_MM)
    half = kind.width_mm * (0.8 if kind.is_roll else 0.5) + GAP_MM + BAND_MM + 1.5
    middle = (kind.pads[0].offset_mm + kind.pads[-1].offset_mm + kind.pads[-1].length_mm) / 2
    cols, rows = round(2 * REACH_MM * ppm), 2 * round(half * ppm) + 1
    s = middle - REACH_MM + np.arange(cols) / ppm
    t = (np.arange(rows) - rows // 2) / ppm
    corner, one_s, one_t = lane.to_px(place.to_mm(np.array([[s[0], t[0]], [s[1], t[0]], [s[0], t[1]]])))
    matrix = np.column_stack([one_s - corner, one_t - corner, corner])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    border = cv2.BORDER_CONSTANT
    turned = cv2.warpAffine(lane.ratio, matrix, (cols, rows), flags=flags, borderMode=border)
    raw = np.asarray(turned, dtype=np.float32)
    known = cv2.warpAffine(lane.known.astype(np.uint8), matrix, (cols, rows), flags=flags, borderValue=0)
    inner = kind.width_mm * (0.8 if kind.is_roll else 0.5) + GAP_MM
    shares, levels = [], []
    smooth = (max(3, round(3.0 * ppm)), 1)
    for side in (-1, 1):
        band = (side * t >= inner) & (side * t <= inner + BAND_MM)
        weight = known[band].sum(axis=0).astype(np.float32)
        total = (raw[band] * known[band][:, :, None]).sum(axis=0)
        weight_s = cv2.blur(weight[None], smooth)[0]
        level = cv2.blur(total[None], smooth)[0] / np.maximum(weight_s, 0.5)[:, None]
        shares.append(weight_s)
        levels.append(level)
    bare = [share > 0.3 * band.sum() for share in shares]
    up = np.where(bare[0][:, None], levels[0], np.where(bare[1][:, None], levels[1], 0.0))
    down = np.where(bare[1][:, None], levels[1], np.where(bare[0][:, None], levels[0], 0.0))
    part = np.clip((t / (inner + BAND_MM / 2) + 1) / 2, 0, 1)[:, None, None].astype(np.float32)
    ratio = raw - (1 - part) * up[None].astype(np.float32) - part * down[None].astype(np.float32)
    ratio[known == 0] = 0.0
    core = np.abs(t) <= kind.width_mm / 2
    return Frame(ratio, known[core].mean(axis=0).astype(np.float64), s, t, np.stack([up, down]), raw, place.angle)


class Pieces:
    """Cumulative sums of a profile (N, C): sums over any interval, fractions of a pixel included."""

    def __init__(self, x: Array, values: Array) -> None:
        self.edge = np.concatenate([x - (x[1] - x[0]) / 2, [x[-1] + (x[1] - x[0]) / 2]])
        self.step = float(x[1] - x[0])
        self.sum = np.concatenate([np.zeros((1, values.shape[1])), np.cumsum(values, axis=0)])

    def at(self, x: Array) -> Array:
        """Sum of the profile left of x: (..., C)."""
        place = np.clip((x - self.edge[0]) / self.step, 0, len(self.sum) - 1)
        low = np.minimum(place.astype(int), len(self.sum) - 2)
        part = (place - low)[..., None]
        return np.asarray(self.sum[low] * (1 - part) + self.sum[low + 1] * part)

    def energy(self, a: Array, b: Array) -> tuple[Array, Array, Array]:
        """Sum (..., C), length in pixels and explained energy |sum|^2 / length of the interval from a to b."""
        total = self.at(b) - self.at(a)
        length = np.maximum((b - a) / self.step, 0.3)
        return total, length, (total**2).sum(axis=-1) / length


def explained_along(pieces: Pieces, kind: StripKind, shift: Array, ends: tuple[float, float]) -> Array:
    """Energy explained by pads of one colour each and one carrier between them, for each shift: (N,)."""
    start, stop = shift + ends[0], shift + ends[1]
    rest, rest_n, _ = pieces.energy(start, stop)
    best = np.zeros(len(shift))
    for pad in kind.pads:
        total, length, gain = pieces.energy(shift + pad.offset_mm, shift + pad.offset_mm + pad.length_mm)
        rest, rest_n, best = rest - total, rest_n - length, best + gain
    return np.asarray(best + (rest**2).sum(axis=-1) / np.maximum(rest_n, 1.0))


def pads_along(frame: Frame, kind: StripKind) -> tuple[float, Array]:
    """Shift of the whole pattern along the strip, and of each pad beyond it (P,), mm."""
    pieces = Pieces(frame.s_mm, frame.along(0.33 * kind.width_mm))
    first, last = kind.pads[0], kind.pads[-1]
    # Only a little beyond the pads: a strip's own end and a far stain must not pull at the pattern.
    ends = (first.offset_mm - min(first.offset_mm, 2.0), last.offset_mm + last.length_mm + 2.0)
    tries = np.arange(-2.4, 2.401, 0.1)
    shift = float(tries[int(np.argmax(_net(pieces, kind, tries, ends)))])
    own = np.zeros(len(kind.pads))
    starts = shift + np.array([p.offset_mm for p in kind.pads])
    total, length, _ = pieces.energy(starts, starts + np.array([p.length_mm for p in kind.pads]))
    levels = (total**2).sum(axis=-1) / length**2
    tries = np.arange(-PAD_SHIFT_MM, PAD_SHIFT_MM + 0.01, 0.1)
    for p, pad in enumerate(kind.pads):
        before = kind.pads[p - 1].offset_mm + kind.pads[p - 1].length_mm if p else pad.offset_mm - 2.0
        after = kind.pads[p + 1].offset_mm if p + 1 < len(kind.pads) else pad.offset_mm + pad.length_mm + 2.0
        room = (shift + max(before, pad.offset_mm - 2.0), shift + min(after, pad.offset_mm + pad.length_mm + 2.0))
        a = shift + pad.offset_mm + tries
        b = a + pad.length_mm
        total, length, gain = pieces.energy(a, b)
        out = pieces.at(np.array(room[1])) - pieces.at(np.array(room[0])) - total
        out_n = np.maximum((room[1] - room[0]) / pieces.step - length, 1.0)
        score = gain + (out**2).sum(axis=-1) / out_n
        # A faint pad follows the others: neither noise nor the blur of a strong neighbour may carry it off.
        about = max(levels[max(0, p - 1) : p + 2])
        score = score - (0.004 * about + 2e-5) * pad.length_mm / pieces.step * (tries / 0.3) ** 2
        own[p] = tries[int(np.argmax(score))]
    return shift, own


def _net(pieces: Pieces, kind: StripKind, shift: Array, ends: tuple[float, float]) -> Array:
    """Explained less total energy of the same stretch, so that windows over more colour are not favoured."""
    low, high = ends[0] + shift.min(), ends[1] + shift.max()
    out_l = pieces.energy(np.full_like(shift, low), shift + ends[0])[2]
    out_r = pieces.energy(shift + ends[1], np.full_like(shift, high))[2]
    return explained_along(pieces, kind, shift, ends) + out_l + out_r


def across_axis(frame: Frame, s0: float, s1: float, width_mm: float, free: bool) -> tuple[float, float, float]:
    """Centre, width (mm) and explained energy of what lies on the paper between s0 and s1."""
    profile = frame.across(s0, s1)
    pieces = Pieces(frame.t_mm, profile)
    centres = np.arange(-1.8, 1.801, 0.1)
    scale = np.arange(0.55, 1.5, 0.05) if free else np.arange(0.85, 1.16, 0.05)
    c, w = (g.ravel() for g in np.meshgrid(centres, scale * width_mm))
    low, high = float(frame.t_mm[0]), float(frame.t_mm[-1])
    gain = pieces.energy(c - w / 2, c + w / 2)[2]
    left, n_l, _ = pieces.energy(np.full_like(c, low), c - w / 2)
    right, n_r, _ = pieces.energy(c + w / 2, np.full_like(c, high))
    score = gain + ((left + right) ** 2).sum(axis=-1) / (n_l + n_r)
    score = score - 0.01 * score.max() * ((w / width_mm - 1) / 0.15) ** 2 * (0.1 if free else 1.0)
    best = int(np.argmax(score))
    columns = (s1 - s0) / frame.step_mm
    return float(c[best]), float(w[best]), float((score[best] - score.min()) * columns)


@dataclass(frozen=True)
class Fitted:
    """A place, the strip seen from it, the pads' own shifts (P,) along it and the width seen (mm).

    moved_mm: how far the fit moved the pads, from the place it began with.
    """

    place: Place
    frame: Frame
    own: Array
    width_mm: float
    moved_mm: float


def refine(lane: LaneMap, place: Place, frame: Frame, kind: StripKind) -> Fitted:
    """Place the pattern along, then the axis across and its angle, from the frame that belongs to ``place``."""
    shift, own = (0.0, np.zeros(1)) if kind.is_roll else pads_along(frame, kind)
    centre, slope, width = _axis(frame, kind, shift, lane.noise)
    middle = pattern_middle(kind)
    place = _turned(_moved(place, shift), middle, centre + slope * (shift + middle), slope)
    half = (kind.pads[-1].offset_mm + kind.pads[-1].length_mm - kind.pads[0].offset_mm) / 2
    moved = max(abs(shift), abs(centre + slope * (shift + middle)) + abs(slope) * half)
    return Fitted(place, straighten(lane, place, kind), own, width, moved)


def _moved(place: Place, ds: float) -> Place:
    x, y = np.array([place.x, place.y]) + ds * place.along
    return replace(place, x=float(x), y=float(y))


def _turned(place: Place, pivot_s: float, dt: float, slope: float) -> Place:
    """Shift by dt across and turn about the point pivot_s along the axis."""
    pivot = np.array([place.x, place.y]) + pivot_s * place.along + dt * place.across
    angle = place.angle + float(np.arctan(slope))
    x, y = pivot - pivot_s * np.array([np.cos(angle), np.sin(angle)])
    return replace(place, x=float(x), y=float(y), angle=angle)


def _axis(frame: Frame, kind: StripKind, shift: float, noise: float) -> tuple[float, float, float]:
    """The strip's axis t = centre + slope s in the frame, and its width, from pads and bare carrier."""
    spans = [(shift + p.offset_mm + 0.15 * p.length_mm, shift + p.offset_mm + 0.85 * p.length_mm) for p in kind.pads]
    if kind.is_roll:
        stop = shift + min(25.0, kind.pads[0].length_mm)
        cuts = np.linspace(shift, stop, max(2, round((stop - shift) / CHUNK_MM)) + 1)
        spans = list(pairwise(cuts))
    count = len(spans)
    s = kind.pads[-1].offset_mm + kind.pads[-1].length_mm + 1.5
    # Three pads fix the axis by themselves; fewer need the carrier to say how it is turned.
    while s + CHUNK_MM <= kind.length_mm - 1.0 and not kind.is_roll and len(kind.pads) < 3:
        spans.append((shift + s, shift + s + CHUNK_MM))
        s += CHUNK_MM
    rows = []
    for s0, s1 in spans:
        centre, width, energy = across_axis(frame, s0, s1, kind.width_mm, kind.is_roll)
        # Energy in units of the noise of the map; faint pieces get little say, strong ones all about the same.
        strength = energy / (noise**2 * 40.0)
        rows.append(((s0 + s1) / 2, centre, width, strength / (strength + 30.0)))
    at, centre_t, widths, weight = (np.array(v) for v in zip(*rows, strict=True))
    weight = weight**2 + 1e-6
    weight[count:] *= CARRIER_SAY
    base = float(np.average(at, weights=weight))
    slope, middle = 0.0, float(np.average(centre_t, weights=weight))
    for _ in range(4):
        u = at - base
        # A weak prior of slope 0 +- 3 degrees about the search's angle keeps a lone pad from turning the strip.
        slope = float((weight * u * (centre_t - middle)).sum() / ((weight * u * u).sum() + 0.15**2 / 0.05**2))
        miss = np.abs(centre_t - middle - slope * u)
        robust = weight / (1.0 + (miss / 0.4) ** 4)
        middle = float(np.average(centre_t - slope * u, weights=robust))
        weight = 0.5 * (weight + robust)
    return middle - slope * base, slope, float(np.average(widths, weights=weight))
