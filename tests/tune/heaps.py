"""Doubts of a pale share: the values whose 95 % intervals are narrowest for what they hold, on rendered heaps.

Intervals are scored by their width and what they miss (the interval score: Gneiting and Raftery, J. Am. Stat. Assoc.
102, 2007, equation 43; from memory), in units of the heap's own share, so that few grains count like many.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stripread.correction.fit import ColourFix
from stripread.errors import CallError
from stripread.solid import share
from stripread.solid.estimate import SolidSample, estimate_solid
from stripread.solid.read import trace_solid
from stripread.tuned import Value
from tests.scenes import render
from tests.scenes.solid import true_share, with_solid
from tests.tint_cases import another_heap, one_heap
from tests.tune.engine import Tuning, replaced

PACKAGE = "stripread.solid"
MISSED = 2 / 0.05  # what a miss costs, in widths, for intervals of 95 %
LEAST = 0.02  # pale share that the smallest ones are measured in


@dataclass(frozen=True)
class Heap:
    """One photo of a heap as sampled, with its true pale share and the one that it was made for."""

    sample: SolidSample
    fix: ColourFix
    truth: float
    meant: float


def draw(setup: int) -> Heap:
    """Render and sample one heap, of plain and of odd habits in turns.

    Raises
    ------
    CallError
        If it was refused.
    """
    scene, solid = (one_heap if setup // 2 % 2 else another_heap)(setup)
    trace = trace_solid(render(with_solid(scene, solid)).data)
    if trace.sample is None or trace.fix is None or trace.estimate is None:
        raise CallError(f"heap {setup} was refused")
    return Heap(trace.sample, trace.fix, true_share(solid), solid.pale)


def judge(heap: Heap, constant: str, value: Value) -> dict[str, float]:
    """Interval score (less is better), relative width, and whether the interval holds the truth."""
    with replaced(share, constant, value):
        low, high = estimate_solid(heap.sample, heap.fix).interval
    missed = max(low - heap.truth, 0.0) + max(heap.truth - high, 0.0)
    unit = heap.meant + LEAST
    return {
        "interval score": (high - low + MISSED * missed) / unit,
        "width": (high - low) / unit,
        "intervals that hold the truth": float(missed < 1e-9),
    }


def _tuning(constant: str, values: Sequence[float]) -> Tuning[Heap]:
    def judged(heap: Heap, value: Value) -> dict[str, float]:
        return judge(heap, constant, value)

    def fit(heaps: Sequence[Heap]) -> Value:
        scores = [np.mean([judged(heap, value)["interval score"] for heap in heaps]) for value in values]
        return values[int(np.argmin(scores))]

    return Tuning(PACKAGE, draw, fit, judged)


TUNINGS = {
    "edge_sd": _tuning("EDGE_SD", (0.01, 0.02, 0.03, 0.04, 0.05, 0.06, 0.08, 0.1, 0.15, 0.2)),
    "speck_sd": _tuning("SPECK_SD", (0.08, 0.12, 0.18, 0.24, 0.3, 0.36, 0.42, 0.5, 0.6, 0.8)),
    "false_pale": _tuning("FALSE_PALE", (0.0001, 0.0002, 0.0004, 0.0006, 0.0008, 0.001, 0.0015, 0.002, 0.004)),
}
