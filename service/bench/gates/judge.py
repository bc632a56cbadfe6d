"""Gates: open, hold or cannot tell, and why, in one sentence.

A gate never opens on a reading that could be wrong about it: the end of the interval counts, not the value; a doubtful
reading holds; a refused one tells nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from service.bench.gates.copper import Metal, Water, judge_copper
from service.bench.gates.neutral import judge_neutral
from service.bench.gates.pale import judge_pale
from service.bench.gates.verdict import Verdict
from service.bench.gates.weight import Weighing, judge_weight
from service.bench.procedure import PaleBelow, PhNeutral, Stage, TintNone, WeightConstant
from service.bench.readings import Observation
from stripread.words import _


@dataclass(frozen=True)
class Surroundings:
    """What a gate looks at beside its own stage.

    ``water`` is soft, hard or unknown, its ``alkalinity`` in mol/L; ``every`` reading of the batch.
    """

    metal: Metal = field(default_factory=Metal)
    water: Water = "unknown"
    alkalinity: float | None = None
    every: Sequence[Observation] = ()


def judge(
    stage: Stage,
    observations: Sequence[Observation],
    weighings: Sequence[Weighing] = (),
    around: Surroundings | None = None,
) -> Verdict:
    """Judge a stage's gate by what was read and weighed in that stage (by the time at which it was taken)."""
    gate = stage.gate
    around = around or Surroundings()
    seen = sorted(observations, key=lambda o: o.at)
    if isinstance(gate, TintNone):
        return judge_copper(gate, seen, around.metal, around.water, around.every)
    if isinstance(gate, PaleBelow):
        return judge_pale(gate, seen)
    if isinstance(gate, PhNeutral):
        return judge_neutral(gate, seen, around.every, around.alkalinity)
    if isinstance(gate, WeightConstant):
        return judge_weight(gate, sorted(weighings, key=lambda w: w.at))
    return Verdict("cannot tell", _("Nothing is measured here: say yourself when this stage is done."))
