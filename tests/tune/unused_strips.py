"""How unused strips are measured: the values by which most pads are right, and the wrong ones said to be unsure.

Strips are drawn and photographed as in ``tests.describe_study``, of the choosing half of the measured world and the
made-up one in turns. A number is tried at steps about the stored one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from types import ModuleType, SimpleNamespace
from typing import Any

import numpy as np

from stripread.card.find import CardTrace, find_card
from stripread.card.view import CardView
from stripread.describe import along, doubts, edges, measure, place
from stripread.describe.read import measured
from stripread.errors import Refused
from stripread.tuned import Value, tuned
from tests.describe_study import judged
from tests.scenes.photo import render
from tests.scenes.unused import Unused, unused_scene
from tests.tune.engine import Tuning, replaced

PACKAGE = "stripread.describe"
STEPS = (0.5, 0.7, 0.85, 1.0, 1.2, 1.4, 2.0)  # of the stored value
STRIPS = 4  # a setup
SILENT, NEEDLESS = 2.0, 0.1  # cost of a wrong pad that nobody was told of, and of a right one that was doubted
# Name of an entry: the file that it is read in, and its constant there.
CONSTANTS: dict[str, tuple[ModuleType, str]] = {
    "line_ceiling": (place, "LINE_CEILING"),
    "line_seen": (place, "LINE_SEEN"),
    "pad_cost": (along, "PAD_COST"),
    "turn_cost": (along, "TURN_COST"),
    "column_cap": (along, "COLUMN_CAP"),
    "plain_sd": (along, "PLAIN_SD"),
    "mottle": (along, "MOTTLE"),
    "light_slack": (along, "SLACK"),
    "no_seam_cost": (along, "NO_SEAM_COST"),
    "relative_scatter": (edges, "RELATIVE_SCATTER"),
    "even_sd": (edges, "EVEN_SD"),
    "ragged_edge": (edges, "RAGGED_MM"),
    "shadow_sd": (measure, "SHADOW_SD"),
    "flush_gain": (measure, "FLUSH_GAIN"),
    "sure_sd": (doubts, "SURE_SD_MM"),
    "least_evidence": (doubts, "LEAST_EVIDENCE"),
    "pale_piece": (doubts, "PALE_PIECE"),
    "shade_near_pad": (doubts, "SHADE"),
    "faint_piece": (doubts, "UNEVEN_LIGHT"),
}


@dataclass(frozen=True)
class Photographed:
    """One strip as it is, and the card on which it lies, laid flat."""

    strip: Unused
    view: CardView


def draw(setup: int) -> tuple[Photographed, ...]:
    """Photographs of some strips.

    Raises
    ------
    Refused
        If a card was not found.
    """
    out = []
    for n in range(STRIPS):
        scene, strip, _laid = unused_scene(100_000 + STRIPS * setup + n, world="choosing" if n % 2 else "made-up")
        out.append(Photographed(strip, find_card(render(scene).data, CardTrace())))
    return tuple(out)


def counts(setup: Sequence[Photographed]) -> dict[str, float]:
    """Shares of pads: right, wrong and not said to be unsure, right and doubted; and what they are worth together."""
    right = silent = needless = there = 0
    for one in setup:
        there += len(one.strip.pads)
        try:
            seen = measured(one.view)
        except Refused:
            continue  # nothing was told of its pads, rightly or wrongly
        pads = [
            SimpleNamespace(offset=pad.offset, length=pad.length, doubt=doubt)
            for pad, doubt in zip(seen.strip.pads, seen.doubts, strict=True)
        ]
        told: Any = SimpleNamespace(pads=pads, reasons=seen.reasons)
        for row in judged(one.strip, told):
            right, needless = right + row.right, needless + (row.right and row.said)
            silent += not row.right and not row.said
    return {
        "pads that are right": right / there,
        "wrong ones of which nothing is said": silent / there,
        "right ones that are doubted": needless / there,
        "worth": (right - SILENT * silent - NEEDLESS * needless) / there,
    }


def _tuning(name: str) -> Tuning[tuple[Photographed, ...]]:
    module, constant = CONSTANTS[name]

    def judge(setup: tuple[Photographed, ...], value: Value) -> dict[str, float]:
        with replaced(module, constant, value):
            return counts(setup)

    def fit(setups: Sequence[tuple[Photographed, ...]]) -> Value:
        stored = tuned(PACKAGE).number(name)
        values = [float(f"{step * stored:.3g}") for step in STEPS]
        return values[int(np.argmax([np.mean([judge(s, value)["worth"] for s in setups]) for value in values]))]

    return Tuning(PACKAGE, draw, fit, judge)


TUNINGS = {name: _tuning(name) for name in CONSTANTS}
