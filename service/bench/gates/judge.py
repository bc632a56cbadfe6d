"""Gates: open, hold or cannot tell, and why, in one sentence.

A gate never opens on a reading that could be wrong about it: the end of the interval counts, not the value; a doubtful
reading holds; a refused one tells nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

from service.bench.gates.copper import Metal, Water, judge_copper
from service.bench.gates.neutral import judge_neutral
from service.bench.gates.verdict import Verdict
from service.bench.procedure import PaleBelow, PhNeutral, Stage, TintNone, WeightConstant
from service.bench.readings import LoggedSolid, Observation


@dataclass(frozen=True)
class Weighing:
    """One mass of the drying metal, g, with half the width of the scale's doubt, g, and when (ISO time)."""

    at: str
    grams: float
    scale_g: float = 0.0


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
        return _pale(gate, seen)
    if isinstance(gate, PhNeutral):
        return judge_neutral(gate, seen, around.every, around.alkalinity)
    if isinstance(gate, WeightConstant):
        return _weight(gate, sorted(weighings, key=lambda w: w.at))
    return Verdict("cannot tell", "Nothing is measured here: say yourself when this stage is done.")


def _pale(gate: PaleBelow, observations: list[Observation]) -> Verdict:
    most = gate.share
    solids = [o.reading for o in observations if isinstance(o.reading, LoggedSolid) and not o.reading.refused]
    if not solids:
        return Verdict("cannot tell", "No picture of the solid in this stage yet.")
    share, interval = solids[-1].pale_fraction, solids[-1].pale_interval
    if share is None or interval is None or solids[-1].doubtful:
        return Verdict(
            "cannot tell", "The last picture of the solid is doubtful: stir, spread it flat, photograph it again."
        )
    if interval[1] <= most:
        return Verdict(
            "open", f"At most {interval[1]:.1%} is pale (below {most:.1%} wanted); crush clots and look once more."
        )
    if interval[0] > most:
        return Verdict("hold", f"{share:.1%} is still pale (below {most:.1%} wanted): more sugar, more stirring.")
    return Verdict(
        "cannot tell", f"Between {interval[0]:.1%} and {interval[1]:.1%} is pale: too near {most:.1%}; look again."
    )


def _weight(gate: WeightConstant, weighings: list[Weighing]) -> Verdict:
    if len(weighings) < 2:
        return Verdict("cannot tell", "Two weights with drying between are needed.")
    first, second = weighings[-2:]
    a, b = first.grams, second.grams
    scale = max(first.scale_g, second.scale_g)
    within = max(gate.within_g, gate.within_share * b)
    hours = (datetime.fromisoformat(second.at) - datetime.fromisoformat(first.at)).total_seconds() / 3600.0
    if hours < gate.hours:
        return Verdict("hold", f"Only {hours:.1f} h of drying between the two weights; {gate.hours:g} h are wanted.")
    if 2.0 * scale > 3.0 * within:
        return Verdict("cannot tell", f"The scale (±{scale:g} g) is too coarse to tell a change of {within:.2g} g.")
    if abs(a - b) <= within:
        return Verdict("open", f"{a:g} g, then {b:g} g: constant within {within:.2g} g.")
    return Verdict(
        "hold",
        f"{a:g} g, then {b:g} g: still {'losing' if b < a else 'gaining'} weight (within {within:.2g} g wanted).",
    )
