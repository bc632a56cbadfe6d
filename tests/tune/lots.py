"""How bottles of strips differ: a strip of one bottle held against the curve of another, as a profile would be.

The renderer's bottles are from memory like the numbers themselves; what is remade is the step from how dye loads, pKa
and paper differ there to shift, load and lightness of a pad here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stripread.ph.curve import Lot, Scatter, StripCurve
from stripread.tuned import Value, tuned
from tests.scenes.scene import STRIP_RANGE
from tests.scenes.spectra import true_lab
from tests.scenes.strips import StripState
from tests.tune.engine import Tuning, best

Array = NDArray[np.float64]

PACKAGE = "stripread.ph"
KINDS = ("four", "three", "universal", "roll")
STEP = 0.05  # pH of the curve's grid
STRIPS = 12  # of the other bottle, at as many pH
SEEN_SD = 0.5  # CIELAB: nothing finer is seen through a card, so nothing finer may decide


@dataclass(frozen=True)
class Bottles:
    """For each kind the curve of one bottle, and strips of another: pH (S,) and CIELAB (S, P, 3)."""

    curves: tuple[StripCurve, ...]
    ph: tuple[Array, ...]
    lab: tuple[Array, ...]


def draw(setup: int) -> Bottles:
    """Two bottles of each kind."""
    rng = np.random.default_rng([setup, 61])
    curves, all_ph, all_lab = [], [], []
    for kind in KINDS:
        low, high = STRIP_RANGE[kind]
        grid = np.arange(low - 0.5, high + 0.5, STEP)
        lab = np.array([true_lab(_strip(kind, float(ph), 2 * setup, 0).pad_spectra()) for ph in grid])
        size = 3 * lab.shape[1]
        seen = (SEEN_SD, SEEN_SD, SEEN_SD)
        curves.append(
            StripCurve(grid, lab, grid[[0, -1]], np.zeros((2, size, size)), Scatter((0.0, 0.0, 0.0), seen), Lot())
        )
        ph = rng.uniform(low, high, STRIPS)
        states = [_strip(kind, float(p), 2 * setup + 1, n) for n, p in enumerate(ph)]
        all_ph.append(ph)
        all_lab.append(np.array([true_lab(state.pad_spectra()) for state in states]))
    return Bottles(tuple(curves), tuple(all_ph), tuple(all_lab))


def _strip(kind: str, ph: float, lot: int, strip: int) -> StripState:
    return StripState(kind, ph, lot, strip, through=float(np.random.default_rng([lot, 89]).uniform(0.0, 0.05)))


def judged(bottles: Bottles, lot: Lot) -> dict[str, float]:
    """Gaussian log likelihood a pad, and squared distance a dimension (1 where the doubts are right)."""
    like, square = [], []
    for curve, ph, lab in zip(bottles.curves, bottles.ph, bottles.lab, strict=True):
        cov = replace(curve, lot=lot).strip_cov(ph) + curve.scatter_cov()
        miss = (lab - curve.curve(ph)).reshape(len(ph), -1)
        q = np.einsum("si,sij,sj->s", miss, np.linalg.inv(cov), miss)
        like.append((-0.5 * q - 0.5 * np.linalg.slogdet(cov)[1]) / curve.pads)
        square.append(q / miss.shape[1])
    return {"log likelihood a pad": float(np.mean(like)), "square a dimension": float(np.mean(square))}


def _tuning(name: str, low: float, high: float) -> Tuning[Bottles]:
    field = name.removeprefix("lot_")

    def judge(bottles: Bottles, value: Value) -> dict[str, float]:
        return judged(bottles, replace(Lot(), **{field: value}))

    def fit(setups: Sequence[Bottles]) -> Value:
        def score(value: Value) -> float:
            return float(np.mean([judge(bottles, value)["log likelihood a pad"] for bottles in setups]))

        return best(score, tuned(PACKAGE).entries[name].value, low, high)

    return Tuning(PACKAGE, draw, fit, judge)


TUNINGS = {
    "lot_shift": _tuning("lot_shift", 0.002, 0.5),
    "lot_load": _tuning("lot_load", 0.002, 0.5),
    "lot_lightness": _tuning("lot_lightness", 0.02, 5.0),
    "lot_through": _tuning("lot_through", 0.0005, 0.5),
}
