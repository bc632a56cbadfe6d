"""Which way round the strip lies, and which pad is which: decided by how pads, carrier and bare paper follow along it.

Equal pads at equal pitch look the same from both ends, and a nearly white pad at an end lets the pattern slip by one.
What tells is the long bare carrier: its faint tint and its edges against the paper. Some of it may have been cut off.
Every hypothesis is charged for each column that it does not explain; the cheapest wins.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from stripread.robust import MAD_TO_SD, medians

if TYPE_CHECKING:
    from stripread.kind import StripKind
    from stripread.strip.fit import Frame
    from stripread.strip.search import Place
from stripread.tuned import tuned

Array = NDArray[np.float64]

_TUNED = tuned("stripread.strip")
PAD_SD = _TUNED.number("pad_sd")
CARRIER_SD = _TUNED.number("carrier_sd")
PAD_CHARGE = _TUNED.number("pad_charge")
CAP = _TUNED.number("millimetre_cap")
EDGE_HALF_MM = 0.4
LANE_CENTRE_X_MM = 74.0
PLACE_SD_MM = _TUNED.number("place_sd_mm")
REVERSED_CHARGE = _TUNED.number("reversed_charge")
CUT_CHARGE = _TUNED.number("cut_charge")
CUT_STEP_MM = 6.0
LEAST_HANDLE_MM = 9.0  # that is left to hold a cut strip by


def settle(frame: Frame, place: Place, kind: StripKind) -> Place:
    """The best of the place as found, turned round, and slipped by whole pads."""
    features, core = _features(frame, kind)
    noise = MAD_TO_SD * medians(np.abs(np.diff(features, axis=0))) / np.sqrt(2.0)
    sd = np.maximum(CARRIER_SD, 2.0 * noise)
    trusted = frame.known > 0.8
    bare = np.minimum(0.5 * (features**2 / sd**2).sum(axis=1), CAP)  # of each column, were it the card's own paper
    pads_end = kind.pads[-1].offset_mm + kind.pads[-1].length_mm
    slips = sorted({round(a.offset_mm - b.offset_mm, 3) for a in kind.pads for b in kind.pads})
    most = 0.6 * (pads_end - kind.pads[0].offset_mm)
    cuts = np.arange(0.0, max(kind.length_mm - pads_end - LEAST_HANDLE_MM, 0.0) + 0.1, CUT_STEP_MM)
    best, least = place, np.inf
    for direction in (1, -1):
        base = 0.0 if direction > 0 else kind.pads[0].offset_mm + pads_end
        for slip in slips:
            if abs(slip) > most:
                continue
            end = base + slip
            turned = place.angle if direction > 0 else place.angle + np.pi
            q = direction * (frame.s_mm - end)
            of_pads, taken = _pads_cost(core, q, trusted, kind)
            costs = []
            for length in kind.length_mm - cuts:
                middle = place.x + place.along[0] * (end + direction * length / 2)
                cost = frame.step_mm * (of_pads + _bare_cost(features, sd, bare, q, trusted & ~taken, trusted, length))
                costs.append(cost + 0.5 * ((middle - LANE_CENTRE_X_MM) / PLACE_SD_MM) ** 2)
            cost = min(costs[0], min(costs) + CUT_CHARGE)
            cost += REVERSED_CHARGE if np.cos(turned) < 0 else 0.0
            if cost < least:
                x, y = np.array([place.x, place.y]) + end * place.along
                best, least = replace(place, x=float(x), y=float(y), angle=float(turned)), cost
    return best


def _features(frame: Frame, kind: StripKind) -> tuple[Array, Array]:
    """Per column: core colour and the long edges' shade (N, 4), and the core's colour alone (N, 3).

    The two edges' mean: an axis that is a little off takes from one of them what it gives to the other.
    """
    core = frame.along(0.36 * kind.width_mm)
    half = kind.width_mm / 2
    edge = np.abs(np.abs(frame.t_mm) - half) <= EDGE_HALF_MM
    shade = frame.ratio[edge].mean(axis=(0, 2))[:, None].astype(np.float64)
    features = np.concatenate([core, shade], axis=1)
    smooth = max(1, round(0.8 / frame.step_mm))
    return np.asarray(cv2.blur(features, (1, smooth))), core


def _pads_cost(core: Array, q: Array, trusted: NDArray[np.bool_], kind: StripKind) -> tuple[float, NDArray[np.bool_]]:
    """What the pads leave unexplained, in units of half chi-square per column, and the columns (N,) that they take.

    ``q`` (N,), mm: of each column from the hypothesis' dipped end.
    """
    taken = np.zeros(len(q), dtype=bool)
    total = 0.0
    for pad in kind.pads:
        here = (q > pad.offset_mm - 0.2) & (q < pad.offset_mm + pad.length_mm + 0.2)
        taken |= here
        inner = (q > pad.offset_mm + 0.6) & (q < pad.offset_mm + pad.length_mm - 0.6) & trusted
        known = np.count_nonzero(inner)
        if known > 2:
            seen = core[inner]
            miss = ((seen - medians(seen)) ** 2).sum(axis=1) / PAD_SD**2
            wide = np.count_nonzero(here)
            total += float(np.minimum(0.5 * miss, CAP).sum() * (wide / known)) + PAD_CHARGE * wide
    return total, taken


def _bare_cost(  # noqa: PLR0917 - what a hypothesis is
    features: Array,
    sd: Array,
    bare: Array,
    q: Array,
    carrier: NDArray[np.bool_],
    trusted: NDArray[np.bool_],
    length: float,
) -> float:
    """The same of carrier and bare paper; ``length``: of the strip, mm; ``carrier``: columns that no pad takes."""
    on = (q > 0) & (q < length) & carrier
    total = 0.0
    if np.count_nonzero(on) > 2:
        seen = features[on]
        miss = ((seen - medians(seen)) ** 2 / sd**2).sum(axis=1)
        total += float(np.minimum(0.5 * miss, CAP).sum())
    off = ~((q > -0.5) & (q < length + 0.5)) & trusted
    return total + float(bare[off].sum())
