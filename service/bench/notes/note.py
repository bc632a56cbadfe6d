"""One note in the log, and which of them count: not those withdrawn, those corrected as they say now."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TypeVar

from service.bench.notes.content import Content
from service.bench.notes.kinds import checked
from service.bench.notes.of_log import Amended, Strike
from service.bench.question import Question

C = TypeVar("C", bound="Content")


@dataclass(frozen=True)
class Note:
    """One note: what it holds, when it was written (ISO time), and its number in the log.

    ``who`` wrote it, where that was said; ``asked`` what has to be answered before it counts.
    """

    content: Content
    at: str
    id: int = 0
    who: str | None = None
    asked: Question | None = None

    @property
    def kind(self) -> str:
        """A key of ``KINDS``."""
        return self.content.kind


def contents(notes: list[Note], kind: type[C]) -> list[C]:
    """What the notes of one kind hold, in their order."""
    return [note.content for note in notes if isinstance(note.content, kind)]


def withdrawals(notes: list[Note]) -> dict[int, Strike]:
    """Number of a withdrawn note -> what says so. Nothing is deleted; a strike that was struck out says nothing."""
    found: dict[int, Strike] = {}
    for note in reversed(notes):
        if isinstance(note.content, Strike) and note.id not in found:
            found[note.content.note] = note.content
    return found


def amendments(notes: list[Note]) -> dict[int, list[Note]]:
    """Number of a corrected note -> its corrections that count, oldest first."""
    out, found = withdrawals(notes), dict[int, list[Note]]()
    for note in notes:
        if isinstance(note.content, Amended) and note.id not in out:
            found.setdefault(note.content.note, []).append(note)
    return found


def as_corrected(notes: list[Note]) -> list[Note]:
    """All notes, each with what its newest correction says, at its own place and time; withdrawn ones too."""
    changed = amendments(notes)
    return [_amended(note, changed[note.id][-1]) if note.id in changed else note for note in notes]


def _amended(note: Note, last: Note) -> Note:
    assert isinstance(last.content, Amended)
    return replace(note, content=checked(note.kind, last.content.data, in_log=True), asked=last.asked)


def in_force(notes: list[Note]) -> list[Note]:
    """The notes that count, as last corrected: those that were not withdrawn and wait for no answer."""
    out = withdrawals(notes)
    return [
        note
        for note in as_corrected(notes)
        if note.id not in out and note.asked is None and not isinstance(note.content, Amended)
    ]
