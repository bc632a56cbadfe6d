"""Gates: open, hold or cannot tell, and why, in one sentence.

A gate never opens on a reading that could be wrong about it: the end of the interval counts, not the value; a doubtful
reading holds; a refused one tells nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from service.bench.gates.copper import Metal, Water, judge_copper
from service.bench.gates.metal import judge_metal
from service.bench.gates.named import judge_named
from service.bench.gates.neutral import judge_neutral
from service.bench.gates.oxide import judge_oxide
from service.bench.gates.pale import judge_pale
from service.bench.gates.timed import judge_timed
from service.bench.gates.verdict import Verdict
from service.bench.gates.weight import Weighing, judge_weight
from service.bench.notes import Note
from service.bench.procedure import Stage
from service.bench.readings import Observation
from service.bench.stages.gate_kinds import OneGate, parts_of
from stripread.words import _


@dataclass(frozen=True)
class Surroundings:
    """What a gate looks at beside its own stage.

    ``water`` is soft, hard or unknown, its ``alkalinity`` in mol/L; ``every`` reading of the batch; its ``notes`` in
    force, in order; ``since`` when the stage began (ISO time, "" from the start), ``began`` when each stage last did;
    ``part``: how many new washings had begun by then; ``now`` the moment that is asked about.
    """

    metal: Metal = field(default_factory=Metal)
    water: Water = "unknown"
    alkalinity: float | None = None
    every: Sequence[Observation] = ()
    notes: Sequence[Note] = ()
    since: str = ""
    began: Mapping[str, str] = field(default_factory=dict)
    now: str = ""
    part: int = 0


def judge(
    stage: Stage,
    observations: Sequence[Observation],
    weighings: Sequence[Weighing] = (),
    around: Surroundings | None = None,
) -> Verdict:
    """Judge a stage's gate by what was read and weighed in that stage (by the time at which it was taken).

    Of several gates at once one that holds is told first, then one that cannot tell; open they are all together.
    """
    around = around or Surroundings()
    seen = sorted(observations, key=lambda o: o.at)
    found = [_judge(gate, seen, weighings, around) for gate in parts_of(stage.gate)]
    for state in ("hold", "cannot tell"):
        for verdict in found:
            if verdict.state == state:
                return verdict
    return Verdict("open", " ".join(verdict.sentence for verdict in found))


def _judge(gate: OneGate, seen: Sequence[Observation], weighings: Sequence[Weighing], around: Surroundings) -> Verdict:
    judges: dict[str, Callable[[Any], Verdict]] = {
        "tint_none": lambda g: judge_copper(g, seen, around.metal, around.water, around.every),
        "pale_below": lambda g: judge_pale(g, seen),
        "ph_neutral": lambda g: judge_neutral(g, seen, around.every, around.alkalinity, around.part),
        "weight_constant": lambda g: judge_weight(g, sorted(weighings, key=lambda w: w.at)),
        "metal_gone": lambda g: judge_metal(g, around.notes, around.since),
        "timed": lambda g: judge_timed(g, around.notes, around.since, around.began, around.now),
        "test_none": lambda g: judge_named(g, around.notes, around.since),
        "no_oxide": lambda g: judge_oxide(
            g, seen, around.every, around.notes, around.since, around.alkalinity, around.part
        ),
        "by_hand": lambda _g: Verdict(
            "cannot tell", _("Nothing is measured here: say yourself when this stage is done.")
        ),
    }
    return judges[gate.kind](gate)
