"""Where a batch stands, worked out from its notes and readings alone: the same log gives the same answer for ever."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace

from service.bench.chemistry.balance import (
    Balance,
    Decant,
    Loss,
    ammonia_test_loss,
    back_to_chloride_loss,
    balance,
    chloride_by_ph,
    decant_loss,
    dropping_out,
    filters_and_glass,
    unconverted_loss,
)
from service.bench.chemistry.reagents import RULES, Span
from service.bench.course import Step, course_of
from service.bench.dosing.acid import rinse_mol
from service.bench.dosing.at_stage import portions_of
from service.bench.dosing.by_portions import Portions
from service.bench.drying.at_stage import drying_of, not_open_over_water
from service.bench.drying.forecast import DryingForecast
from service.bench.gates.copper import Metal, Water
from service.bench.gates.judge import Surroundings, judge
from service.bench.gates.verdict import Verdict
from service.bench.gates.weight import Weighing
from service.bench.melting.melt import Melt
from service.bench.melting.of_batch import melts_of, silver_weighed
from service.bench.note_fields import IN_LOG
from service.bench.notes import (
    AcidRinse,
    AmmoniaTest,
    BatchVessel,
    DecantNote,
    Note,
    Weight,
    contents,
    decant_of,
    in_force,
)
from service.bench.notes import Move as MoveNote
from service.bench.procedure import Procedure, Stage
from service.bench.readings import LoggedPh, LoggedSolid, Observation
from service.bench.reminding.of_stage import Bench as OfStage
from service.bench.reminding.of_stage import of_stage
from service.bench.reminding.of_vials import vials_to_acidify
from service.bench.reminding.reminder import Reminder, in_order
from service.bench.vessel.hazards import OpenDanger
from service.bench.vessel.history import vessel_of
from service.bench.vessel.read_alkaline import batch_dangers
from service.bench.vessel.waste import Stock, stock
from service.bench.washing.chalk import chalk_of
from service.bench.washing.parts import breaks, part_of
from service.bench.weighings import Weighing as StartWeighing
from service.bench.weighings import expected_of
from stripread.words import _, say, spoken

PAPERS, GLASSES = 1, 2  # filter papers and vessels where nobody counted; common practice, no source
METAL = ("powder", "silver")  # what is weighed at the end
HARD_MMOL_L = 1.0  # alkalinity from which copper can fall into the solid as the pH turns neutral


@dataclass(frozen=True)
class Move:
    """One step from stage to stage; ``reason`` is there when it went against the gate.

    ``procedure``: the name of another procedure that the batch changed to; no gate was asked then (``state`` "").
    """

    at: str
    to: str
    title: str
    state: str
    sentence: str
    reason: str | None = None
    who: str | None = None
    procedure: str | None = None


@dataclass(frozen=True)
class State:
    """The batch now."""

    procedure: Procedure
    stage: Stage
    verdict: Verdict
    next_line: str
    moves: tuple[Move, ...]
    been: tuple[Stage, ...]  # the stages that the batch was in, in order
    balance: Balance | None
    worth_doing: tuple[str, ...]  # decants to settle again or to drop out
    stock: Stock | None
    dangers: tuple[OpenDanger, ...] = ()
    rules: str = field(default_factory=lambda: say(RULES))
    unanswered: int = 0  # entries and notes that wait for an answer before they count
    drying: DryingForecast | None = None  # of a stage that dries, once something was weighed
    melts: tuple[Melt, ...] = ()
    reminders: tuple[Reminder, ...] = ()
    portions: Portions | None = None  # of a reagent dosed to an end by pictures, from its second portion on

    @property
    def band(self) -> tuple[float, float]:
        """The pH that counts as neutral now."""
        return self.procedure.band(self.stage.id)


def state_of(  # noqa: PLR0917 - what a batch is made of
    notes: list[Note],
    observations: list[Observation],
    alkalinity_mmol_l: float | None = None,
    water: str | None = None,
    dangers: tuple[OpenDanger, ...] = (),
    now: str | None = None,
) -> State:
    """Work out where a batch stands.

    Parameters
    ----------
    notes
        In the order in which they were written.
    observations
        Readings in force (corrected ones left out), with their time.
    alkalinity_mmol_l, water
        The rinse water as named for the batch; tap water without its alkalinity counts as hard.
    dangers
        What this batch poured into the stock vessel, or read of it, that stands open.
    now
        The moment that is asked about (ISO time), for gates that wait; the last note's or reading's where not given.
    """
    notes = in_force(notes)
    dangers = (*dangers, *batch_dangers(notes, observations))
    course = course_of(notes)
    procedure, stage, since = course.procedure, course.stage, course.since
    moves = tuple(_move(step) for step in course.steps if step.changed or isinstance(step.note, MoveNote))
    began = {s.id: at for s in procedure.stages if (at := course.began(s.id)) is not None}
    now = now or max([*(n.at for n in notes), *(o.at for o in observations)], default="")
    begins = breaks(notes, procedure)
    observations = [replace(o, part=part_of(o.at, begins)) for o in observations]
    here = [o for o in observations if o.at >= since and not o.blank] + [o for o in observations if o.blank]
    weighings = [
        Weighing(n.at, n.content.grams, n.content.scale_g, n.content.of, n.content.again == "adds", n.content.step_g)
        for n in notes
        if n.at >= since and isinstance(n.content, Weight) and n.content.of in METAL
    ]
    expected = expected_silver(notes)
    vessel = batch_vessel(notes)
    metal = Metal(None if expected is None else expected[0], vessel.retained_l)
    softness, alkalinity = softness_of(water, alkalinity_mmol_l)
    around = Surroundings(metal, softness, alkalinity, observations, notes, since, began, now, len(begins))
    verdict = judge(stage, here, weighings, around)
    drying = drying_of(stage.gate, tuple(sorted(weighings, key=lambda w: w.at)), spoken())
    verdict = not_open_over_water(verdict, drying)
    decants = [decant_of(d, _chloride_of(d, observations)) for d in contents(notes, DecantNote)]
    chalk = chalk_of(notes, observations, procedure, water, alkalinity_mmol_l)
    melts = melts_of(notes)
    found = None
    if expected is not None:
        losses = _losses(notes, decants, observations, expected)
        losses += tuple(loss for melt in melts if (loss := melt.loss) is not None)
        found = balance(expected, silver_weighed(notes, melts), losses, chalk.grams, chalk.why)
    tips = [
        _("Settle {name} a second time before it goes.", name=name) for name in (found.settle_again if found else ())
    ]
    tips += [tip for d in decants if d.solid == "chloride" and (tip := dropping_out(d))]
    tips += [chalk.tip] if chalk.tip else []
    poured = vessel_of(notes)
    after = procedure.after(stage.id)
    held = stock(poured) if poured else None
    upcoming, been = _next(stage, after, verdict), course.been
    dosed = portions_of(stage.gate, stage.read, notes, sorted(here, key=lambda o: o.at), since)
    made = State(procedure, stage, verdict, upcoming, moves, been, found, tuple(tips), held, dangers, drying=drying)
    reminded = of_stage(OfStage(stage, since, began, notes, weighings, verdict, drying, now)) if now else []
    vials = vials_to_acidify(notes, observations, now) if now else None
    return replace(
        made, portions=dosed, melts=melts, reminders=in_order([*reminded, *([] if vials is None else [vials])])
    )


def _move(step: Step) -> Move:
    note, stage = step.note, step.stage
    if isinstance(note, MoveNote):
        return Move(step.at, stage.id, stage.title, note.state, note.sentence, note.reason, note.who)
    sentence = f"The procedure is now: {step.procedure.name}."  # as the log has its sentences
    return Move(step.at, stage.id, stage.title, "", sentence, note.reason, note.who, step.procedure.name)


def stage_now(notes: list[Note]) -> tuple[Procedure, Stage]:
    """The batch's procedure and the stage that it is in, by its notes alone."""
    course = course_of(notes)
    return course.procedure, course.stage


def _next(stage: Stage, after: Stage | None, verdict: Verdict) -> str:
    if verdict.state == "open":
        return (
            _("Go on to: {title}.", title=say(after.title))
            if after
            else _("The last stage is done: weigh, print the report, close the batch.")
        )
    first = re.split(r"(?<=[.!?])\s", say(stage.do), maxsplit=1)[0]
    return first or say(stage.title)


def batch_vessel(notes: list[Note]) -> BatchVessel:
    """The batch's vessel: of each of its fields what was said last."""
    last: dict[str, object] = {}
    for vessel in contents(notes, BatchVessel):
        last |= vessel.fields()
    return BatchVessel.model_validate(last, context=IN_LOG)


def expected_silver(notes: list[Note]) -> Span | None:
    """Silver expected (g) from the chloride weighed, lots added up, else from the input metal; None without either."""
    return expected_of(weighings_of(notes))


def weighings_of(notes: list[Note]) -> list[StartWeighing]:
    """The weights among these notes as the sum of lots takes them."""
    return [weighing_of(note.content, note.id) for note in notes if isinstance(note.content, Weight)]


def weighing_of(weight: Weight, number: int = 0) -> StartWeighing:
    """A weight as the sum of lots takes it; ``number`` is that of its note."""
    said = (weight.of, weight.grams, weight.scale_g or 0.0, weight.moisture, weight.fineness, weight.again)
    return StartWeighing(*said, weight.replaces, number)


def _chloride_of(decant: DecantNote, observations: list[Observation]) -> tuple[float, float] | None:
    """Chloride of a decant (mol/L, low and high) from the pH of the wash that it ends; None where nobody read it."""
    wash = decant.wash_number
    if wash is None:
        return None
    read = [o.reading for o in observations if isinstance(o.reading, LoggedPh) and o.wash == wash]
    known = [(r.ph, r.interval) for r in read if r.ph is not None]
    return chloride_by_ph(*known[-1]) if known else None


def softness_of(water: str | None, alkalinity_mmol_l: float | None) -> tuple[Water, float | None]:
    """The rinse water as named for the batch: soft or hard for copper, and its alkalinity, mol/L, where known.

    Tap water without its alkalinity counts as hard; a water that nobody named is unknown, whatever it is.
    """
    if alkalinity_mmol_l is not None:
        return ("hard" if alkalinity_mmol_l >= HARD_MMOL_L else "soft"), alkalinity_mmol_l / 1000.0
    if water in ("pure", "air"):
        return "soft", 0.0
    return ("hard" if water == "tap" else "unknown"), None


def _losses(
    notes: list[Note], decants: list[Decant], observations: list[Observation], expected: Span
) -> tuple[Loss, ...]:
    vessel = batch_vessel(notes)
    losses = [loss for decant in decants for loss in decant_loss(decant)]
    losses += [ammonia_test_loss(test.ml, test.mol_l, test.on_solid) for test in contents(notes, AmmoniaTest)]
    losses += [back_to_chloride_loss(rinse.oxide_silver_g, rinse_mol(rinse)) for rinse in contents(notes, AcidRinse)]
    papers = PAPERS if vessel.papers is None else int(vessel.papers)
    glasses = GLASSES if vessel.glasses is None else int(vessel.glasses)
    losses += filters_and_glass(papers, glasses)
    solids = [o.reading for o in observations if isinstance(o.reading, LoggedSolid)]
    pale = [s for s in solids if s.pale_interval is not None and s.pale_fraction is not None]
    if pale and pale[-1].pale_interval is not None and pale[-1].pale_fraction is not None:
        low, high = pale[-1].pale_interval
        losses.append(unconverted_loss(expected[1], (low, pale[-1].pale_fraction, high)))
    return tuple(losses)
