"""How any number is remade: setups drawn and split, a value fitted on one half, both values judged on the other."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing import get_context
from types import ModuleType
from typing import Generic, TypeVar

import numpy as np
from scipy.optimize import minimize_scalar

from stripread.errors import CallError, Refused
from stripread.tuned import Value, tuned

Draw = TypeVar("Draw")
SPLIT_SEED = 20260  # decides which setup of each pair is fitted on; fixed, so that the halves are the same in every run
CLOSE = 0.02  # of the logarithm of a value: nearer no fit of a few dozen setups can tell
ROUNDS = 2  # over the numbers of an entry that has several


@dataclass(frozen=True)
class Tuning(Generic[Draw]):
    """How one entry of a ``tuned.toml`` is remade.

    draw: what one setup gives, by its number. fit: the value that a list of them asks for. judge: how well one of them
    does with a value, by name of the measure; NaN where it can't say.
    """

    package: str
    draw: Callable[[int], Draw]
    fit: Callable[[Sequence[Draw]], Value]
    judge: Callable[[Draw, Value], dict[str, float]]


@dataclass(frozen=True)
class Measure:
    """One measure on the reporting half: means over setups, and the standard error of their difference."""

    stored: float
    fitted: float
    difference_se: float


@dataclass(frozen=True)
class Finding:
    """One number remade. fitted_on, judged_on: setups of each half that gave something."""

    stored: Value
    fitted: Value
    fitted_on: int
    judged_on: int
    measures: dict[str, Measure]


def halves(first: int, count: int) -> tuple[list[int], list[int]]:
    """Setups to fit on and to report on: of each pair of neighbours one, whichever a fixed coin says."""
    fitting, reporting = [], []
    for pair in range(0, count, 2):
        heads = bool(np.random.default_rng([SPLIT_SEED, first + pair]).random() < 0.5)
        one, other = first + pair, first + pair + 1
        fitting.append(one if heads else other)
        reporting.append(other if heads else one)
    return fitting, reporting


def draw_halves(draw: Callable[[int], Draw], first: int, count: int, workers: int) -> tuple[list[Draw], list[Draw]]:
    """What the setups to fit on and those to report on give.

    Raises
    ------
    CallError
        If a half gives nothing.
    """
    fitting, reporting = ([d for d in draw_all(draw, half, workers) if d is not None] for half in halves(first, count))
    if not (fitting and reporting):
        raise CallError("no setup gave anything; take more of them (--setups)")
    return fitting, reporting


def remake(name: str, tuning: Tuning[Draw], fitting: Sequence[Draw], reporting: Sequence[Draw]) -> Finding:
    """Fit on the first half, judge on the second."""
    stored = tuned(tuning.package).entries[name].value
    fitted = tuning.fit(fitting)
    with_stored = [tuning.judge(d, stored) for d in reporting]
    with_fitted = [tuning.judge(d, fitted) for d in reporting]
    measures = {
        measure: _measure(np.array([j[measure] for j in with_stored]), np.array([j[measure] for j in with_fitted]))
        for measure in with_stored[0]
    }
    return Finding(stored, fitted, len(fitting), len(reporting), measures)


def _measure(stored: np.ndarray, fitted: np.ndarray) -> Measure:
    known = ~(np.isnan(stored) | np.isnan(fitted))
    count = int(known.sum())
    if count == 0:
        return Measure(float("nan"), float("nan"), float("nan"))
    spread = float((fitted - stored)[known].std(ddof=1) / np.sqrt(count)) if count > 1 else float("nan")
    return Measure(float(stored[known].mean()), float(fitted[known].mean()), spread)


def draw_all(draw: Callable[[int], Draw], setups: Sequence[int], workers: int) -> Iterator[Draw | None]:
    """What each setup gives, in order; None where its photos or its calibration were refused."""
    if workers <= 1:
        yield from (_one(draw, setup) for setup in setups)
        return
    with ProcessPoolExecutor(workers, get_context("spawn")) as pool:
        yield from pool.map(_one, [draw] * len(setups), setups)


def _one(draw: Callable[[int], Draw], setup: int) -> Draw | None:
    import cv2

    cv2.setNumThreads(1)
    try:
        return draw(setup)
    except (Refused, CallError):
        return None


@contextmanager
def replaced(module: ModuleType, constant: str, value: Value) -> Iterator[None]:
    """The module with another value for one of its constants."""
    old = getattr(module, constant)
    setattr(module, constant, np.array(value) if isinstance(value, tuple) else value)
    try:
        yield
    finally:
        setattr(module, constant, old)


def best(score: Callable[[Value], float], start: Value, low: float, high: float) -> Value:
    """The positive value between the bounds with the highest score, three digits of it; several in turns."""
    if not isinstance(start, tuple):
        return _best_number(score, low, high)
    value = start
    for _ in range(ROUNDS):
        for n in range(len(value)):

            def at(one: Value, n: int = n, value: tuple[float, ...] = value) -> float:
                assert not isinstance(one, tuple)
                return score((*value[:n], one, *value[n + 1 :]))

            value = (*value[:n], _best_number(at, low, high), *value[n + 1 :])
    return value


def _best_number(score: Callable[[Value], float], low: float, high: float) -> float:
    found = minimize_scalar(
        lambda log: -score(float(np.exp(log))),
        bounds=(np.log(low), np.log(high)),
        method="bounded",
        options={"xatol": CLOSE},
    )
    return float(f"{np.exp(found.x):.3g}")
