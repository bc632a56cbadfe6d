"""The weight gate: open where drying changes the metal's weight no more, by weighings of the same thing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from service.bench.gates.verdict import Verdict
from service.bench.stages.gate_kinds import WeightConstant
from stripread.words import _


@dataclass(frozen=True)
class Weighing:
    """One mass of the drying metal, g, and when (ISO time).

    ``scale_g`` is half the width of the scale's doubt, g, None where nobody said; ``of`` what was weighed; ``lot``
    whether it was another lot, which says nothing of how the first one dries; ``step_g`` one step of the scale's last
    digit, as said or as typed.
    """

    at: str
    grams: float
    scale_g: float | None = None
    of: str = "silver"
    lot: bool = False
    step_g: float | None = None


def doubt_of(weighing: Weighing) -> float | None:
    """Half the width of a weight's doubt, g: as said, else one step of the scale (common practice, no source)."""
    return weighing.scale_g if weighing.scale_g is not None else weighing.step_g


def within_of(gate: WeightConstant, grams: float, doubt_g: float | None) -> float:
    """The change, g, that counts as none: a share of the batch, or what the scale can show, to ``gate.within_g``.

    A fine scale so asks for more of a small batch than a coarse one.
    """
    shown = gate.within_g if doubt_g is None else min(gate.within_g, 2.0 * doubt_g)
    return max(shown, gate.within_share * grams)


def judge_weight(gate: WeightConstant, weighings: Sequence[Weighing]) -> Verdict:
    """Judge by the last weight and the one ``gate.hours`` or more before it; what was weighed between counts too.

    ``weighings`` in the order in which they were made.
    """
    same = same_series(weighings)
    if len(same) < 2:
        text = _("Two weights of the same thing with drying between are needed.")
        if weighings and not same:
            text = _("0 g is no weight: tare the empty dish, then weigh what is in it.")
        return Verdict("cannot tell", text)
    last, before = same[-1], [w for w in same[:-1] if _hours(w, same[-1]) >= gate.hours]
    if not before:
        hours = _hours(same[0], last)
        return Verdict(
            "hold",
            _(
                "Only {hours:.1f} h of drying between the weights; {hours2:g} h are wanted.",
                hours=hours,
                hours2=gate.hours,
            ),
        )
    course = same[same.index(before[-1]) :]
    named = [doubt for w in course if (doubt := doubt_of(w)) is not None]
    within = within_of(gate, last.grams, max(named) if named else None)
    if len(named) < len(course):
        text = _("Nobody said how far the scale is right: weigh again and say so, {within:.2g} g count.", within=within)
        return Verdict("cannot tell", text)
    if 2.0 * max(named) > 3.0 * within:
        text = _(
            "The scale (±{named:g} g) is too coarse to tell a change of {within:.2g} g.",
            named=max(named),
            within=within,
        )
        if all(w.scale_g is None for w in course):
            text += _(
                " That is by the digits typed: write all that it shows (12.0, not 12), or say how far it is right."
            )
        return Verdict("cannot tell", text)
    a, b = max(course[:-1], key=lambda w: abs(w.grams - last.grams)).grams, last.grams
    if abs(a - b) <= within:
        return Verdict("open", _("{a:g} g, then {b:g} g: constant within {within:.2g} g.", a=a, b=b, within=within))
    if b < a:
        text = _("{a:g} g, then {b:g} g: still losing weight (within {within:.2g} g wanted).", a=a, b=b, within=within)
    else:
        text = _("{a:g} g, then {b:g} g: still gaining weight (within {within:.2g} g wanted).", a=a, b=b, within=within)
    return Verdict("hold", text)


def same_series(weighings: Sequence[Weighing]) -> list[Weighing]:
    """The weighings of what was weighed last, since another lot of it came. A weight of 0 g is none."""
    real = [w for w in weighings if w.grams > 0.0]
    same = [w for w in real if w.of == real[-1].of]
    lots = [place for place, w in enumerate(same) if w.lot]
    return same[lots[-1] + 1 :] if lots else same


def _hours(first: Weighing, second: Weighing) -> float:
    return (datetime.fromisoformat(second.at) - datetime.fromisoformat(first.at)).total_seconds() / 3600.0
