"""Which stage a batch is in, by its notes alone: procedures chosen and changed, and moves between their stages.

A change of the procedure that is struck out never was: the batch is in the stage again in which it was before, and
moves to stages that the procedure before it does not have count no more.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from service.bench.notes import ChosenProcedure, Move, Note, in_force
from service.bench.procedure import Procedure, Stage, earlier_procedure, parse_procedure

DEFAULT = "chloride_lye_sugar_1"  # the procedure of a batch for which none was chosen: as it was when that could be


@dataclass(frozen=True)
class Step:
    """One step of a batch: from a stage to a stage of ``procedure``, another one than before where ``changed``."""

    at: str
    procedure: Procedure
    before: Stage
    stage: Stage
    note: Move | ChosenProcedure
    changed: bool = False

    @property
    def stays(self) -> bool:
        """Whether the batch is in a stage of the same name as before."""
        return self.before.id == self.stage.id


@dataclass(frozen=True)
class Course:
    """Where a batch is: its procedure and stage, since when (ISO; "" from the start), and the steps that led there."""

    procedure: Procedure
    stage: Stage
    since: str
    steps: tuple[Step, ...]

    @property
    def been(self) -> tuple[Stage, ...]:
        """Every stage that the batch was in, in order, each once."""
        first = self.steps[0].before if self.steps else self.stage
        found: dict[str, Stage] = {}
        for stage in (first, *(step.stage for step in self.steps)):
            found.setdefault(f"{stage.id} {stage.title}", stage)
        return tuple(found.values())

    def began(self, stage: str) -> str | None:
        """When the batch last came into the stage of this name; "" if it began there, None if it never was in it."""
        times = [step.at for step in self.steps if step.stage.id == stage and not step.stays]
        first = self.steps[0].before.id if self.steps else self.stage.id
        return times[-1] if times else "" if first == stage else None


def mapped(procedure: Procedure, stage: str) -> Stage | None:
    """The stage of the same name in another procedure; None where that has none."""
    return next((s for s in procedure.stages if s.id == stage), None)


def walk(notes: Sequence[Note], start: Procedure | None = None) -> Iterator[tuple[Note, Step | None]]:
    """Each note in force with the step that it is; ``start`` is the procedure until one is chosen."""
    procedure = start or earlier_procedure(DEFAULT)
    stage = procedure.stages[0]
    begun = False  # whether anything chose a procedure or moved the batch yet
    for note in in_force(list(notes)):
        content = note.content
        step = None
        if isinstance(content, ChosenProcedure):
            chosen = parse_procedure(content.text)
            to = chosen.stage(content.to) if content.to else mapped(chosen, stage.id) or chosen.stages[0]
            changed = begun or content.reason is not None
            before = stage if changed else chosen.stages[0]
            step = Step(note.at, chosen, before, to if changed else chosen.stages[0], content, changed)
            procedure, begun = chosen, True
        elif isinstance(content, Move) and (target := mapped(procedure, content.to)) is not None:
            step, begun = Step(note.at, procedure, stage, target, content), True
        if step is not None:
            stage = step.stage
        yield note, step


def course_of(notes: Sequence[Note], start: Procedure | None = None) -> Course:
    """Where a batch is by its notes.

    Raises
    ------
    CallError
        If the text of a procedure in them can't be read.
    """
    steps = tuple(step for _, step in walk(notes, start) if step is not None)
    if not steps:
        procedure = start or earlier_procedure(DEFAULT)
        return Course(procedure, procedure.stages[0], "", ())
    # A change within a stage that the other procedure has too goes on in it; a move begins even its own stage anew.
    came = [step.at for step in steps if (not step.stays if step.changed else isinstance(step.note, Move))]
    last = steps[-1]
    return Course(last.procedure, last.stage, came[-1] if came else "", steps)
