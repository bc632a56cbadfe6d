"""Corrections of notes, and taking them back: each is a note of its own, and nothing is overwritten."""

from __future__ import annotations

from dataclasses import replace

from sqlalchemy import Connection

from service.bench.notes import KINDS, Amended, Note, Strike, Weight, as_corrected, checked, withdrawals
from service.bench.notes.content import Content
from service.log.chain.locks import one_of_vessel
from service.log.notes import Said, add_note, asked_first, check_content, open_notes, sent_before, write
from stripread.errors import CallError
from stripread.words import _


def amend_note(c: Connection, batch: int, number: int, data: dict[str, object], said: Said) -> Note:
    """Correct a note: what changes in its fields (None takes one away); it keeps its number, place and time.

    Raises
    ------
    CallError
        If there is no such note, it is of a kind that is written anew instead, or what it says then is wrong.
    """
    earlier = open_notes(c, batch)
    one_of_vessel(c)
    old = next((note for note in as_corrected(earlier) if note.id == number), None)
    if old is None:
        raise CallError(_("there is no note {number} in this batch", number=str(number)))
    if old.kind not in AMENDABLE:
        raise CallError(
            _("a note of the kind {kind} is not corrected: withdraw it and write it down again", kind=old.kind)
        )
    new = checked(old.kind, {**old.content.fields(), **data})
    fields: dict[str, object] = {"note": number, "data": new.fields(), "why": said.why, "who": said.who}
    made = checked(Amended.kind, fields)
    again = sent_before(earlier, made.kind, made.fields(), keyed=said.keyed)
    if again is not None:
        return again
    if old.asked is None and new.fields() == old.content.fields():
        raise CallError(_("this changes nothing: say what the note should say"))
    others = [note for note in earlier if note.id != number]
    asked = asked_first(others, new, keep=said.keep) if old.asked is not None or _lots_change(old, new) else None
    check_content(c, batch, others, new, but=number)
    return write(c, batch, made, replace(said, who=None), asked)


def _lots_change(old: Note, new: Content) -> bool:
    """Whether a corrected weight is of another thing now, or stands otherwise to those before."""
    before = old.content
    if not isinstance(before, Weight) or not isinstance(new, Weight):
        return False
    return (before.of, before.again, before.replaces) != (new.of, new.again, new.replaces)


AMENDABLE = tuple(
    kind for kind, content in KINDS.items() if content.label and kind not in ("strike", "made_safe", "emptied")
)


def undo_note(c: Connection, batch: int, number: int, said: Said) -> Note:
    """Take the last thing back that was done to a note: its withdrawal, else its newest correction.

    Raises
    ------
    CallError
        If there is no such note, or nothing was done to it.
    """
    earlier = open_notes(c, batch)
    one_of_vessel(c)
    out = withdrawals(earlier)
    done = [
        note.id
        for note in earlier
        if isinstance(note.content, Strike | Amended) and note.content.note == number and note.id not in out
    ]
    if not done:
        raise CallError(_("nothing was done to note {number} that could be taken back", number=str(number)))
    fields: dict[str, object] = {"note": done[-1], "why": said.why, "who": said.who}
    return write(c, batch, checked(Strike.kind, fields), replace(said, who=None), None)


def withdraw_note(c: Connection, batch: int, number: int, said: Said) -> Note:
    """Withdraw a note: it counts no more, and stays in the list.

    Raises
    ------
    CallError
        If there is no such note.
    """
    fields: dict[str, object] = {"note": number, "why": said.why, "who": said.who}
    return add_note(c, batch, Strike.kind, fields, replace(said, who=None))


def answer_note(c: Connection, batch: int, number: int, said: Said) -> Note:
    """Answer what is asked about a weight with: it is another lot, beside the earlier ones.

    Raises
    ------
    CallError
        If there is no such note.
    """
    return amend_note(c, batch, number, {"again": "adds", "replaces": None}, said)
