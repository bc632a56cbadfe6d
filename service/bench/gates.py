"""Gates: open, hold or cannot tell, and why, in one sentence.

A gate never opens on a reading that could be wrong about it: the end of the interval counts, not the value; a doubtful
reading holds; a refused one tells nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from service.bench.procedure import PaleBelow, PhNeutral, Stage, TintNone, WeightConstant
from service.bench.readings import LoggedPh, LoggedSolid, LoggedTint, Observation

State = Literal["open", "hold", "cannot tell"]


@dataclass(frozen=True)
class Weighing:
    """One mass of the drying metal, g, with half the width of the scale's doubt, g, and when (ISO time)."""

    at: str
    grams: float
    scale_g: float = 0.0


@dataclass(frozen=True)
class Verdict:
    """Whether the next stage is open, and why."""

    state: State
    sentence: str


@dataclass(frozen=True)
class Metal:
    """What a copper limit needs: silver in the batch, g, and liquid that stays with the solid, L."""

    silver_g: float | None = None
    retained_l: float | None = None


def judge(
    stage: Stage,
    observations: Sequence[Observation],
    weighings: Sequence[Weighing] = (),
    metal: Metal | None = None,
    hard_water: bool = False,
) -> Verdict:
    """Judge a stage's gate by what was read and weighed in that stage (in the order of time)."""
    gate = stage.gate
    seen = sorted(observations, key=lambda o: o.at)
    if isinstance(gate, TintNone):
        return _tint(gate, seen, metal or Metal(), hard_water)
    if isinstance(gate, PaleBelow):
        return _pale(gate, seen)
    if isinstance(gate, PhNeutral):
        return _neutral(gate, seen)
    if isinstance(gate, WeightConstant):
        return _weight(gate, sorted(weighings, key=lambda w: w.at))
    return Verdict("cannot tell", "Nothing is measured here: say yourself when this stage is done.")


def copper_ppm(limit_mg_l: float, retained_l: float, silver_g: float) -> float:
    """Copper in the metal, mg/kg, if what stays with the solid holds ``limit_mg_l`` of copper and dries in."""
    return limit_mg_l * retained_l / (silver_g / 1000.0)


def _tint(gate: TintNone, observations: list[Observation], metal: Metal, hard_water: bool) -> Verdict:
    times = int(gate.times)
    tints = [o.reading for o in observations if isinstance(o.reading, LoggedTint) and not o.reading.refused]
    last = tints[-times:]
    if not last:
        return Verdict("cannot tell", "No tint reading in this stage yet.")
    decisions = ["undecided" if tint.doubtful else tint.decision for tint in last]
    if "copper" in decisions:
        return Verdict("hold", "Copper was still seen in the last readings: wash on.")
    if any(decision != "none seen" for decision in decisions):
        return Verdict("cannot tell", "A tint reading is undecided or doubtful: take it again with a deeper sample.")
    if len(last) < times:
        return Verdict("hold", f"None seen {len(last)} time{'s' if len(last) > 1 else ''}; {times} running are needed.")
    return _hidden_copper(gate.ppm, last, metal, hard_water)


def _hidden_copper(most: float, last: list[LoggedTint], metal: Metal, hard_water: bool) -> Verdict:
    """None seen, so how much could be there all the same?"""
    limits = [tint.detection_limit for tint in last if tint.detection_limit is not None]
    if len(limits) < len(last) or not metal.silver_g or metal.retained_l is None:
        text = "None seen; to say what hides in the metal, give the sample's depth, the silver and the retained liquid."
        return Verdict("cannot tell", text)
    ppm = max(copper_ppm(limit, metal.retained_l, metal.silver_g) for limit in limits)
    if ppm > most:
        text = f"None seen, but up to {ppm:.0f} ppm could hide in the metal ({most:g} wanted): use a deeper sample."
        return Verdict("hold", text)
    text = f"None seen {len(last)} times running: below {ppm:.2g} ppm copper from the liquid ({most:g} wanted)."
    if hard_water:
        text += " In hard water copper may lie in the solid: rinse once with slightly acid water and test that."
        return Verdict("cannot tell", text)
    return Verdict("open", text)


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


@dataclass(frozen=True)
class _Acidity:
    """A pH with its interval as read, and with the ends open where the strip's range ended."""

    ph: float
    interval: tuple[float, float]
    whole: tuple[float, float]
    doubtful: bool
    blank: bool

    @property
    def half(self) -> float:
        return max(self.interval[1] - self.ph, self.ph - self.interval[0])


def _acidities(observations: list[Observation]) -> list[_Acidity]:
    """The pH values that were read, in their order."""
    found = []
    for o in observations:
        reading, whole = o.reading, o.open_interval()
        if not isinstance(reading, LoggedPh) or reading.refused:
            continue
        if reading.ph is not None and reading.interval is not None and whole is not None:
            found.append(_Acidity(reading.ph, reading.interval, whole, reading.doubtful, o.blank))
    return found


def _neutral(gate: PhNeutral, observations: list[Observation]) -> Verdict:
    low, high = gate.band
    read = _acidities(observations)
    blanks, seen = [x for x in read if x.blank], [x for x in read if not x.blank]
    if not seen:
        return Verdict("cannot tell", "No pH reading in this stage yet.")
    last = seen[-1]
    ph, (a, b) = last.ph, last.whole
    if last.doubtful:
        return Verdict("cannot tell", f"The last pH, {ph:.1f}, is doubtful: read it again.")
    if low <= a and b <= high:
        return Verdict("open", f"pH {ph:.1f} ({a:.1f} to {b:.1f}) lies inside {low:g} to {high:g}.")
    if blanks:
        return _against_blank(last, blanks[-1])
    if b < low or a > high:
        return Verdict(
            "hold",
            f"pH {ph:.1f} ({a:.1f} to {b:.1f}) lies outside {low:g} to {high:g}: wash on, or read the rinse water.",
        )
    return Verdict(
        "cannot tell",
        f"pH {ph:.1f} ({a:.1f} to {b:.1f}) reaches over the edge of {low:g} to {high:g}: read the rinse water.",
    )


def _against_blank(sample: _Acidity, blank: _Acidity) -> Verdict:
    """Not different from the rinse water: the difference holds 0 in its 95 % interval and is below 1 pH for sure."""
    ph, own = sample.ph, blank.ph
    reach = (sample.half**2 + blank.half**2) ** 0.5
    gap = ph - own
    if abs(gap) > max(reach, 0.3):
        return Verdict("hold", f"pH {ph:.1f} still differs from the rinse water's {own:.1f}: wash on.")
    if abs(gap) + reach > 1.0:
        return Verdict(
            "cannot tell", f"pH {ph:.1f} against {own:.1f} of the rinse water, each too uncertain to compare."
        )
    return Verdict("open", f"pH {ph:.1f} is not different from the rinse water's own {own:.1f}.")


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
