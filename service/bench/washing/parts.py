"""Where a batch's notes begin a new washing: after the lye, after an acid rinse. The pH alone never does."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence

from service.bench.course import Step, walk
from service.bench.notes import AcidRinse, Note, ReagentUsed
from service.bench.procedure import Procedure
from service.bench.vessel.substances import Kind, mentioned

LYE_WORDS = ("lye", "naoh", "koh", "caustic", "hydroxide")  # also within other words


def breaks(notes: Sequence[Note], procedure: Procedure) -> tuple[str, ...]:
    """Times (ISO) from which washes belong to another washing, in order.

    A move across a stage in which no pH is read, back or forth, another stage by another procedure, an acid rinse, and
    lye noted as used begin one. ``procedure`` is that of the batch until its notes choose one.
    """
    found = []
    for note, step in walk(notes, procedure):
        content = note.content
        lye = isinstance(content, ReagentUsed) and names_lye(content.what)
        if lye or isinstance(content, AcidRinse) or (step is not None and _breaks(step)):
            found.append(note.at)
    return tuple(sorted(found))


def names_lye(text: str) -> bool:
    """Whether a text speaks of lye, in any of the languages that a log is read in; not of what is only alkaline."""
    return any(word in text.lower() for word in LYE_WORDS) or any(one.kinds == {Kind.LYE} for one in mentioned(text))


def _breaks(step: Step) -> bool:
    if step.changed:
        return not step.stays
    stages = step.procedure.stages
    at, to = stages.index(step.before), stages.index(step.stage)
    between = stages[min(at, to) + (at < to) : max(at, to) + (at < to)]
    return any("ph" not in stage.read for stage in between)


def part_of(at: str, begins: Sequence[str]) -> int:
    """How many new washings had begun by then."""
    return bisect_right(begins, at)
