"""Where a batch stands, worked out from its notes and readings alone: the same log gives the same answer for ever."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from service.bench.balance import (
    Balance,
    Decant,
    Loss,
    ammonia_test_loss,
    back_to_chloride_loss,
    balance,
    decant_loss,
    dropping_out,
    expected_from_chloride,
    expected_from_metal,
    filters_and_glass,
    unconverted_loss,
)
from service.bench.gates import Entry, Metal, Verdict, judge
from service.bench.notes import Note, decant_of, struck, vessel_of
from service.bench.procedure import Procedure, Stage, load_procedure, parse_procedure
from service.bench.reagents import RULES, Span, chloride
from service.bench.waste import Stock, stock

COPPER_FALLS = 5.2  # pH from which copper may leave the liquid
HARD_MMOL_L = 1.0  # alkalinity from which copper can fall into the solid as the pH turns neutral


@dataclass(frozen=True)
class Move:
    """One step from stage to stage; ``reason`` is there when it went against the gate."""

    at: str
    to: str
    state: str
    sentence: str
    reason: str | None = None
    who: str | None = None


@dataclass(frozen=True)
class State:
    """The batch now."""

    procedure: Procedure
    stage: Stage
    verdict: Verdict
    next_line: str
    moves: tuple[Move, ...]
    balance: Balance | None
    worth_doing: tuple[str, ...]  # decants to settle again or to drop out
    stock: Stock | None
    rules: str = RULES

    @property
    def band(self) -> tuple[float, float]:
        """The pH that counts as neutral now."""
        return self.procedure.band(self.stage.id)

    def to_dict(self) -> dict[str, Any]:
        """JSON-ready: the stage with its gate on top, what to do next in one line."""
        after = self.procedure.after(self.stage.id)
        return {
            "procedure": self.procedure.name,
            "stage": {
                "id": self.stage.id,
                "title": self.stage.title,
                "do": self.stage.do,
                "read": list(self.stage.read),
            },
            "gate": {"state": self.verdict.state, "sentence": self.verdict.sentence},
            "next": self.next_line,
            "next_stage": None if after is None else {"id": after.id, "title": after.title},
            "cautions": [*self.stage.cautions, self.rules],
            "can_go_wrong": list(self.stage.wrong),
            "stages": [{"id": s.id, "title": s.title} for s in self.procedure.stages],
            "moves": [vars(m) for m in self.moves],
            "balance": None if self.balance is None else balance_dict(self.balance),
            "worth_doing": list(self.worth_doing),
            "stock": None if self.stock is None else {"litres": self.stock.litres, "sentence": self.stock.sentence},
        }


def balance_dict(found: Balance) -> dict[str, Any]:
    """A mass balance as JSON; grams as [low, value, high]."""
    return {
        "expected_g": list(found.expected_g),
        "weighed_g": None if found.weighed_g is None else list(found.weighed_g),
        "yield": None if found.share is None else list(found.share),
        "shortfall_g": None if found.shortfall_g is None else list(found.shortfall_g),
        "losses": [
            {"name": x.name, "silver_g": list(x.silver_g), "where": x.where, "note": x.note} for x in found.losses
        ],
        "verdict": found.verdict,
    }


def state_of(
    notes: list[Note], readings: list[Entry], alkalinity_mmol_l: float | None = None, water: str | None = None
) -> State:
    """Work out where a batch stands.

    Parameters
    ----------
    notes
        In the order in which they were written.
    readings
        Readings in force (corrected ones left out), with their time.
    alkalinity_mmol_l, water
        The rinse water as named for the batch; tap water without its alkalinity counts as hard.
    """
    out = struck(notes)
    notes = [n for n in notes if n.id not in out]
    procedure, stage = stage_now(notes)
    moves = tuple(Move(n.at, **n.data) for n in notes if n.kind == "move")
    since = moves[-1].at if moves else ""
    weights = [
        Entry("weight", n.at, n.data) for n in notes if n.kind == "weight" and n.data["of"] in ("powder", "silver")
    ]
    blanks = [e for e in readings if e.data.get("blank")]
    here = [e for e in [*readings, *weights] if e.at >= since and not e.data.get("blank")] + blanks
    expected = expected_silver(notes)
    vessel = {k: v for n in notes if n.kind == "vessel" for k, v in n.data.items()}
    metal = Metal(None if expected is None else expected[1], vessel.get("retained_l"))
    hard = (alkalinity_mmol_l or 0.0) >= HARD_MMOL_L or (water == "tap" and alkalinity_mmol_l is None)
    hard = hard and not _acid_side(here)
    verdict = judge(stage, here, metal, hard)
    decants = [decant_of(n, _chloride_of(n, readings)) for n in notes if n.kind == "decant"]
    found = (
        None if expected is None else balance(expected, _weighed(notes), _losses(notes, decants, readings, expected))
    )
    tips = [f"Settle {name} a second time before it goes." for name in (found.settle_again if found else ())]
    tips += [tip for d in decants if d.solid == "chloride" and (tip := dropping_out(d))]
    poured = vessel_of(notes)
    after = procedure.after(stage.id)
    held = stock(poured) if poured else None
    return State(procedure, stage, verdict, _next(stage, after, verdict), moves, found, tuple(tips), held)


def stage_now(notes: list[Note]) -> tuple[Procedure, Stage]:
    """The batch's procedure and the stage that it is in, by its notes alone."""
    out = struck(notes)
    chosen = [n for n in notes if n.kind == "procedure" and n.id not in out]
    procedure = parse_procedure(chosen[-1].data["text"]) if chosen else load_procedure("chloride_lye_sugar")
    moves = [n for n in notes if n.kind == "move" and n.id not in out]
    return procedure, procedure.stage(moves[-1].data["to"]) if moves else procedure.stages[0]


def _next(stage: Stage, after: Stage | None, verdict: Verdict) -> str:
    if verdict.state == "open":
        return (
            f"Go on to: {after.title}."
            if after
            else "The last stage is done: weigh, print the report, close the batch."
        )
    first = re.split(r"(?<=[.!?])\s", stage.do, maxsplit=1)[0]
    return first or stage.title


def expected_silver(notes: list[Note]) -> Span | None:
    """Silver expected (g) from the last weighing of chloride, else from the input metal; None if neither is there."""
    for of in ("chloride", "input"):
        # Earlier logs may hold a weight of nothing: it says nothing.
        found = [n.data for n in notes if n.kind == "weight" and n.data["of"] == of and n.data["grams"] > 0]
        if not found:
            continue
        last = found[-1]
        if of == "chloride":
            wet = last.get("moisture", (0.0, 0.0))
            return expected_from_chloride(chloride(last["grams"], (wet[0], wet[1]), last.get("scale_g", 0.0)))
        fine = last.get("fineness", (0.5, 1.0))
        return expected_from_metal(last["grams"], (fine[0], fine[1]), last.get("scale_g", 0.0))
    return None


def _weighed(notes: list[Note]) -> tuple[float, float] | None:
    found = [n.data for n in notes if n.kind == "weight" and n.data["of"] in ("powder", "silver")]
    return (found[-1]["grams"], found[-1].get("scale_g", 0.0)) if found else None


def _chloride_of(note: Note, readings: list[Entry]) -> float | None:
    """Chloride of a decant (mol/L) from the pH of the wash it is named after ("wash 3"), if that was acid."""
    number = re.search(r"\d+", str(note.data["name"]))
    if number is None:
        return None
    found = [e for e in readings if e.kind == "ph" and e.wash == int(number[0]) and e.data.get("ph") is not None]
    if not found or float(found[-1].data["ph"]) > 4.0:
        return None
    return min(12.0, float(10.0 ** -float(found[-1].data["ph"])))


def _acid_side(entries: list[Entry]) -> bool:
    """Whether the last copper checks were of washes still so acid that copper stays dissolved.

    Copper's hydroxide begins to fall at pH 5.2 from 1 g/L, later from less (NIST 46 constants, minteq.v4.dat).
    """
    acid = {
        e.wash for e in entries if e.kind == "ph" and e.data.get("interval") and e.data["interval"][1] < COPPER_FALLS
    }
    last = [e for e in entries if e.kind == "tint"][-2:]
    return bool(last) and all(e.wash is not None and e.wash in acid for e in last)


def _losses(notes: list[Note], decants: list[Decant], readings: list[Entry], expected: Span) -> tuple[Loss, ...]:
    vessel = {k: v for n in notes if n.kind == "vessel" for k, v in n.data.items()}
    losses = [loss for decant in decants for loss in decant_loss(decant)]
    tests = [n.data for n in notes if n.kind == "ammonia_test"]
    losses += [ammonia_test_loss(d["ml"], d["mol_l"], d.get("on_solid", False)) for d in tests]
    rinses = [n.data for n in notes if n.kind == "acid_rinse"]
    losses += [back_to_chloride_loss(d["oxide_silver_g"], d["acid_mol"]) for d in rinses]
    losses += filters_and_glass(int(vessel.get("papers", 1)), int(vessel.get("glasses", 2)))
    pale = [e.data for e in readings if e.kind == "solid" and e.data.get("pale_interval")]
    if pale:
        low, high = pale[-1]["pale_interval"]
        losses.append(unconverted_loss(expected[1], (low, pale[-1]["pale_fraction"], high)))
    return tuple(losses)
