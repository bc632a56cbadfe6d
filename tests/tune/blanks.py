"""When a tint is called copper, and what two like vials differ by: from rendered photos of two blanks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from stripread.errors import CallError
from stripread.tint.estimate import TintEstimate
from stripread.tint.read import TintRequest, TintTrace, trace_tint
from stripread.tuned import Value, tuned
from tests.scenes import render
from tests.tint_cases import tint_case
from tests.tune.engine import Tuning, best

Array = NDArray[np.float64]

PACKAGE = "stripread.tint"
BLANKS_CALLED = 1 / 1000  # share of blanks that may be called copper


@dataclass(frozen=True)
class Pair:
    """A photo of two blanks and one with a little copper. signal, faint: estimates over their deviation on a blank.
    ratio (3,), cov (3, 3): of the blanks' photo, without the grey nuisance."""

    signal: float
    faint: float
    ratio: Array
    cov: Array


def draw(setup: int) -> Pair:
    """Render and read both.

    Raises
    ------
    CallError
        If the blanks were refused.
    """
    blank, faint = (_trace(sort, setup) for sort in ("blank", "limit"))
    if blank.estimate is None or blank.sample is None:
        raise CallError(f"blank {setup} was refused")
    return Pair(
        _in_deviations(blank.estimate),
        np.nan if faint.estimate is None else _in_deviations(faint.estimate),
        blank.sample.ratio,
        blank.sample.cov,
    )


def _trace(sort: str, number: int) -> TintTrace:
    case = tint_case(sort, number)
    return trace_tint(render(case.scene).data, TintRequest(case.path_mm))


def _in_deviations(estimate: TintEstimate) -> float:
    return estimate.signal / estimate.sd0


def fit_called(pairs: Sequence[Pair]) -> Value:
    """Mean and deviation of the blanks, drawn on as normal: no few dozen photos hold one in a thousand."""
    signals = np.array([pair.signal for pair in pairs])
    spread = float(signals.std(ddof=1)) if len(signals) > 1 else 1.0
    return float(f"{float(signals.mean()) + float(ndtri(1.0 - BLANKS_CALLED)) * spread:.3g}")


def judge_called(pair: Pair, value: Value) -> dict[str, float]:
    """Whether each is called copper, by this limit alone."""
    assert not isinstance(value, tuple)
    faint = np.nan if np.isnan(pair.faint) else float(pair.faint > value)
    return {"blanks called": float(pair.signal > value), "faint copper called": faint}


def judge_grey(pair: Pair, value: Value) -> dict[str, float]:
    """Gaussian log likelihood of a blank's ratio, and its squared distance from one a dimension (1 is right)."""
    assert not isinstance(value, tuple)
    cov = pair.cov + value**2 * np.ones((3, 3))
    miss = pair.ratio - 1.0
    square = float(miss @ np.linalg.solve(cov, miss))
    return {
        "log likelihood": -0.5 * square - 0.5 * float(np.linalg.slogdet(cov)[1]),
        "square a dimension": square / 3.0,
    }


def fit_grey(pairs: Sequence[Pair]) -> Value:
    """The likeliest."""

    def score(value: Value) -> float:
        return float(np.mean([judge_grey(pair, value)["log likelihood"] for pair in pairs]))

    return best(score, tuned(PACKAGE).entries["grey_sd"].value, 1e-4, 0.3)


TUNINGS = {
    "called": Tuning(PACKAGE, draw, fit_called, judge_called),
    "grey_sd": Tuning(PACKAGE, draw, fit_grey, judge_grey),
}
