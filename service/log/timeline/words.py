"""A note in words, for the timeline."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from service.bench.notes import ChosenProcedure, Move, Note, checked
from service.bench.procedure import parse_procedure
from service.report.batch_record import note_text
from stripread.words import _, say


def note_words(note: Note, data: dict[str, Any] | None = None) -> str:
    """What a note says; ``data`` instead of its own fields, as a correction has them."""
    if data is not None:
        note = Note(checked(note.kind, data, in_log=True), note.at, note.id)
    content = note.content
    if isinstance(content, ChosenProcedure):
        name = parse_procedure(content.text).name
        on = f", on in {content.to}" if content.to else ""
        return f"{name}{on}: {content.reason}" if content.reason else name
    if isinstance(content, Move):
        stage = say(content.to)
        if not content.reason:
            return stage
        return _("{stage} against the gate: {reason}", stage=stage, reason=content.reason)
    again = getattr(content, "again", None)
    number = getattr(content, "replaces", None)
    more = (
        _(" (in place of note {number})", number=str(number))
        if number
        else {"adds": _(" (another lot)"), "replaces": _(" (replaces)")}.get(again or "", "")
    )
    return note_text(replace(note, asked=None)) + more
