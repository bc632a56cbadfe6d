"""Gates: open, hold or cannot tell, and why, in one sentence.

A gate never opens on a reading that could be wrong about it: the end of the interval counts, not the value; a doubtful
reading holds; a refused one tells nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from service.bench.procedure import Gate, Stage

State = Literal["open", "hold", "cannot tell"]


@dataclass(frozen=True)
class Entry:
    """One thing the log holds, as a gate sees it: ``kind`` of READS and the reading's own JSON fields.

    ``at`` is ISO time. A weight has ``grams`` and ``scale_g``; a blank pH (of the rinse water) has ``blank`` true.
    """

    kind: str
    at: str
    data: dict[str, Any]
    wash: int | None = None


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


def judge(stage: Stage, entries: list[Entry], metal: Metal | None = None, hard_water: bool = False) -> Verdict:
    """Judge a stage's gate by the entries made in that stage (in the order of time)."""
    gate = stage.gate
    seen = sorted(entries, key=lambda e: e.at)
    if gate.kind == "tint_none":
        return _tint(gate, seen, metal or Metal(), hard_water)
    if gate.kind == "pale_below":
        return _pale(gate, seen)
    if gate.kind == "ph_neutral":
        return _neutral(gate, seen)
    if gate.kind == "weight_constant":
        return _weight(gate, seen)
    return Verdict("cannot tell", "Nothing is measured here: say yourself when this stage is done.")


def _usable(entries: list[Entry], kind: str) -> list[Entry]:
    return [e for e in entries if e.kind == kind and e.data.get("status", "ok") != "refused"]


def _doubtful(entry: Entry) -> bool:
    return str(entry.data.get("status", "ok")) == "doubtful"


def copper_ppm(limit_mg_l: float, retained_l: float, silver_g: float) -> float:
    """Copper in the metal, mg/kg, if what stays with the solid holds ``limit_mg_l`` of copper and dries in."""
    return limit_mg_l * retained_l / (silver_g / 1000.0)


def _tint(gate: Gate, entries: list[Entry], metal: Metal, hard_water: bool) -> Verdict:
    times = int(gate.settings["times"])
    last = _usable(entries, "tint")[-times:]
    if not last:
        return Verdict("cannot tell", "No tint reading in this stage yet.")
    decisions = [e.data.get("decision") if not _doubtful(e) else "undecided" for e in last]
    if "copper" in decisions:
        return Verdict("hold", "Copper was still seen in the last readings: wash on.")
    if any(decision != "none seen" for decision in decisions):
        return Verdict("cannot tell", "A tint reading is undecided or doubtful: take it again with a deeper sample.")
    if len(last) < times:
        return Verdict("hold", f"None seen {len(last)} time{'s' if len(last) > 1 else ''}; {times} running are needed.")
    return _hidden_copper(float(gate.settings["ppm"]), last, metal, hard_water)


def _hidden_copper(most: float, last: list[Entry], metal: Metal, hard_water: bool) -> Verdict:
    """None seen, so how much could be there all the same?"""
    limits = [float(e.data["detection_limit"]) for e in last if e.data.get("detection_limit") is not None]
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


def _pale(gate: Gate, entries: list[Entry]) -> Verdict:
    most = float(gate.settings["share"])
    seen = _usable(entries, "solid")
    if not seen:
        return Verdict("cannot tell", "No picture of the solid in this stage yet.")
    entry = seen[-1]
    share, interval = entry.data.get("pale_fraction"), entry.data.get("pale_interval")
    if share is None or interval is None or _doubtful(entry):
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


def _neutral(gate: Gate, entries: list[Entry]) -> Verdict:
    low, high = gate.settings["band"]
    seen = [e for e in _usable(entries, "ph") if e.data.get("interval")]
    blanks = [e for e in seen if e.data.get("blank")]
    seen = [e for e in seen if not e.data.get("blank")]
    if not seen:
        return Verdict("cannot tell", "No pH reading in this stage yet.")
    entry = seen[-1]
    a, b = _open_ended(entry)
    ph = entry.data["ph"]
    if _doubtful(entry):
        return Verdict("cannot tell", f"The last pH, {ph:.1f}, is doubtful: read it again.")
    if low <= a and b <= high:
        return Verdict("open", f"pH {ph:.1f} ({a:.1f} to {b:.1f}) lies inside {low:g} to {high:g}.")
    if blanks:
        return _against_blank(entry, blanks[-1])
    if b < low or a > high:
        return Verdict(
            "hold",
            f"pH {ph:.1f} ({a:.1f} to {b:.1f}) lies outside {low:g} to {high:g}: wash on, or read the rinse water.",
        )
    return Verdict(
        "cannot tell",
        f"pH {ph:.1f} ({a:.1f} to {b:.1f}) reaches over the edge of {low:g} to {high:g}: read the rinse water.",
    )


def _open_ended(entry: Entry) -> tuple[float, float]:
    """The interval, without its end where the strip's own range ended: there the true pH may lie anywhere beyond."""
    low, high = (float(end) for end in entry.data["interval"])
    for reason in entry.data.get("reasons", []):
        if reason.get("code") == "end_of_range":
            low, high = (0.0, high) if "at most" in str(reason.get("message")) else (low, 14.0)
    return low, high


def _against_blank(entry: Entry, blank: Entry) -> Verdict:
    """Not different from the rinse water: the difference holds 0 in its 95 % interval and is below 1 pH for sure."""
    ph, own = float(entry.data["ph"]), float(blank.data["ph"])
    half = [max(e.data["interval"][1] - e.data["ph"], e.data["ph"] - e.data["interval"][0]) for e in (entry, blank)]
    reach = (half[0] ** 2 + half[1] ** 2) ** 0.5
    gap = ph - own
    if abs(gap) > max(reach, 0.3):
        return Verdict("hold", f"pH {ph:.1f} still differs from the rinse water's {own:.1f}: wash on.")
    if abs(gap) + reach > 1.0:
        return Verdict(
            "cannot tell", f"pH {ph:.1f} against {own:.1f} of the rinse water, each too uncertain to compare."
        )
    return Verdict("open", f"pH {ph:.1f} is not different from the rinse water's own {own:.1f}.")


def _weight(gate: Gate, entries: list[Entry]) -> Verdict:
    seen = [e for e in entries if e.kind == "weight" and e.data.get("grams") is not None]
    if len(seen) < 2:
        return Verdict("cannot tell", "Two weights with drying between are needed.")
    first, second = seen[-2:]
    a, b = float(first.data["grams"]), float(second.data["grams"])
    scale = max(float(e.data.get("scale_g", 0.0)) for e in (first, second))
    within = max(float(gate.settings["within_g"]), float(gate.settings["within_share"]) * b)
    hours = (datetime.fromisoformat(second.at) - datetime.fromisoformat(first.at)).total_seconds() / 3600.0
    if hours < float(gate.settings["hours"]):
        return Verdict(
            "hold", f"Only {hours:.1f} h of drying between the two weights; {gate.settings['hours']:g} h are wanted."
        )
    if 2.0 * scale > 3.0 * within:
        return Verdict("cannot tell", f"The scale (±{scale:g} g) is too coarse to tell a change of {within:.2g} g.")
    if abs(a - b) <= within:
        return Verdict("open", f"{a:g} g, then {b:g} g: constant within {within:.2g} g.")
    return Verdict(
        "hold",
        f"{a:g} g, then {b:g} g: still {'losing' if b < a else 'gaining'} weight (within {within:.2g} g wanted).",
    )
