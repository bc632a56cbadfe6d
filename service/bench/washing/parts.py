"""Where a batch's notes begin a new washing: after the lye, after an acid rinse. The pH alone never does."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence

from service.bench.notes import AcidRinse, Move, Note, ReagentUsed, in_force
from service.bench.procedure import Procedure

LYE_WORDS = ("lye", "naoh", "koh", "caustic", "hydroxide")


def breaks(notes: Sequence[Note], procedure: Procedure) -> tuple[str, ...]:
    """Times (ISO) from which washes belong to another washing, in order.

    A move across a stage in which no pH is read, back or forth, an acid rinse, and lye noted as used begin one.
    """
    found = []
    places = {stage.id: place for place, stage in enumerate(procedure.stages)}
    at = 0
    for note in in_force(list(notes)):
        content = note.content
        if isinstance(content, Move) and content.to in places:
            to = places[content.to]
            between = procedure.stages[min(at, to) + (at < to) : max(at, to) + (at < to)]
            if any("ph" not in stage.read for stage in between):
                found.append(note.at)
            at = to
        elif isinstance(content, AcidRinse) or (
            isinstance(content, ReagentUsed) and any(word in content.what.lower() for word in LYE_WORDS)
        ):
            found.append(note.at)
    return tuple(sorted(found))


def part_of(at: str, begins: Sequence[str]) -> int:
    """How many new washings had begun by then."""
    return bisect_right(begins, at)
