"""A note in words, for the timeline."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from service.bench.notes import ChosenProcedure, Move, Note, checked
from service.bench.procedure import parse_procedure
from service.report.batch_record import note_said
from stripread.words import _, say


def note_words(note: Note, data: dict[str, Any] | None = None, titles: Mapping[str, str] | None = None) -> str:
    """What a note says; ``data`` instead of its own fields, as a correction has them.

    ``titles`` of the stages that a move may name, by their ids.
    """
    if data is not None:
        note = Note(checked(note.kind, data, in_log=True), note.at, note.id)
    content = note.content
    if isinstance(content, ChosenProcedure):
        name = parse_procedure(content.text).name
        titled = {stage.id: stage.title for stage in parse_procedure(content.text).stages}
        on = _(", on in: {stage}", stage=say(titled.get(content.to, content.to))) if content.to else ""
        return f"{name}{on}: {content.reason}" if content.reason else name
    if isinstance(content, Move):
        stage = say((titles or {}).get(content.to, content.to))
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
    return note_said(note, by=False) + more
