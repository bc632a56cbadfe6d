"""Where grey silver begins, ends and is doubted: the values that score best on rendered heaps of three materials.

Scored as the doubts of a pale share are (``tests.tune.heaps``), but in shares of the area, since a grey is not few
grains; and a miss that nobody was told of costs as much again. A number is tried at steps about the stored one.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass

import numpy as np

from stripread.card.layout import layout
from stripread.card.view import CardView
from stripread.correction.fit import ColourFix
from stripread.errors import CallError, Refused
from stripread.solid import estimate, grey, outline
from stripread.solid.estimate import SolidSample, estimate_solid, sample_solid
from stripread.solid.read import trace_solid
from stripread.tuned import Value, tuned
from tests.scenes import render
from tests.scenes.solid import true_share, with_solid
from tests.tint_cases import any_heap
from tests.tune.engine import Tuning, replaced

PACKAGE = "stripread.solid"
SORTS = ("solid", "heap", "silver", "greying", "three")
MISSED = 2 / 0.05  # what a miss costs, in widths, for intervals of 95 %
STEPS = (0.7, 0.85, 0.93, 1.0, 1.07, 1.15, 1.3)  # of the stored value
# Name of an entry: name of its constant in ``grey``, and in ``outline``.
IN_GREY = {
    "grey_least": "GREY_LEAST",
    "silver_most": "SILVER_MOST",
    "surely_pale": "SURELY_PALE",
    "even_grey": "EVEN",
    "even_least": "EVEN_LEAST",
    "grey_band": "BAND",
    "pale_least": "PALE_LEAST",
    "perhaps_chloride": "PERHAPS_CHLORIDE",
    "beside_oxide": "BESIDE_OXIDE",
    "much_oxide": "MUCH_OXIDE",
    "oxide_shade": "OXIDE_SHADE",
    "chloride_shade": "SHADE",
    "silver_glint": "GLINT",
    "few_peaks": "FEW_PEAKS",
    "specks_least": "SPECKS_LEAST",
    "loose_light": "LOOSE",
    "loose_least": "LOOSE_LEAST",
    "patches_least": "PATCHES_LEAST",
    "few_broad_peaks": "FEW_BROAD",
    "brighter_chloride": "BRIGHTER",
}
IN_OUTLINE = {
    "grey_top": "GREY_TOP",
    "grey_beyond": "GREY_BEYOND",
    "ring_hidden": "RING_HIDDEN",
    "sparse_dark": "SPARSE",
}


@dataclass(frozen=True)
class Heap:
    """One photo of a heap before it is outlined and after, and its true pale share."""

    view: CardView
    sample: SolidSample
    fix: ColourFix
    truth: float


def draw(setup: int) -> Heap:
    """Render and sample one heap, of all sorts in turns.

    Raises
    ------
    CallError
        If it was refused.
    """
    scene, solid = any_heap(SORTS[setup // 2 % len(SORTS)], setup)
    trace = trace_solid(render(with_solid(scene, solid)).data)
    if trace.sample is None or trace.fix is None or trace.card.view is None:
        raise CallError(f"heap {setup} was refused")
    return Heap(trace.card.view, trace.sample, trace.fix, true_share(solid))


def judge(heap: Heap, constant: str, value: Value, *, outlined: bool) -> dict[str, float]:
    """Interval score (less is better), width, whether the interval holds the truth and whether nothing was doubted."""
    with ExitStack() as stack:
        for module in (grey, outline, estimate):
            if hasattr(module, constant):
                stack.enter_context(replaced(module, constant, value))
        (low, high), sure = _read(heap, outlined)
    missed = max(low - heap.truth, 0.0) + max(heap.truth - high, 0.0)
    return {
        "interval score": (high - low) + MISSED * missed * (2.0 if sure else 1.0),
        "width": high - low,
        "intervals that hold the truth": float(missed < 1e-9),
        "read without a doubt": float(sure),
    }


def _read(heap: Heap, outlined: bool) -> tuple[tuple[float, float], bool]:
    """The interval, and whether nothing was doubted; what is refused may be anything."""
    try:
        sample = sample_solid(heap.view, layout().windows["sample"], heap.fix) if outlined else heap.sample
        got = estimate_solid(sample, heap.fix)
    except Refused:
        return (0.0, 1.0), False
    return got.interval, not got.reasons


def _tuning(name: str, constant: str, *, outlined: bool) -> Tuning[Heap]:
    def judged(heap: Heap, value: Value) -> dict[str, float]:
        return judge(heap, constant, value, outlined=outlined)

    def fit(heaps: Sequence[Heap]) -> Value:
        stored = tuned(PACKAGE).entries[name].value
        values = [_times(stored, step) for step in STEPS]
        scores = [np.mean([judged(heap, value)["interval score"] for heap in heaps]) for value in values]
        return values[int(np.argmin(scores))]

    return Tuning(PACKAGE, draw, fit, judged)


def _times(value: Value, step: float) -> Value:
    return tuple(v * step for v in value) if isinstance(value, tuple) else value * step


TUNINGS = {
    **{name: _tuning(name, constant, outlined=False) for name, constant in IN_GREY.items()},
    **{name: _tuning(name, constant, outlined=True) for name, constant in IN_OUTLINE.items()},
}
