"""A batch's timeline: photos, notes, stages and what was done to the batch as one list, newest first.

A corrected entry stands once, at its own time, as it says now; what it said before, who changed it and why are its
history. Nothing that was written down ever leaves the list: what was withdrawn stands there as withdrawn.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Literal

from sqlalchemy import Connection

from service.bench.course import course_of
from service.bench.notes import Amended, Note, Strike, as_corrected, withdrawals
from service.bench.question import Question, retold_question
from service.bench.vessel.hazards import OpenDanger
from service.bench.washing.waters import WATER
from service.log import store
from service.log.course.standing import corrected
from service.log.entries import shown
from service.log.entry_cache import slim_rows
from service.log.noted.rows import PREFIX, DamagedNote, notes_of_batch
from service.log.notes import dangers_of_batch
from service.log.taken import taken_times
from service.log.timeline.amending import AMENDABLE
from service.log.timeline.words import note_words
from stripread.errors import CallError
from stripread.words import _, number, say

Source = Literal["reading", "note", "batch"]
Standing = Literal["counts", "asked", "withdrawn", "unreadable"]
Action = Literal["correct", "withdraw", "put_back", "undo"]


@dataclass(frozen=True)
class Change:
    """One change of an entry: its own number in the log, when, who and why, and what the entry said before it."""

    number: int
    at: str
    what: Literal["corrected", "withdrawn", "put back", "answered", "read again"]
    who: str | None
    why: str | None
    before: str


@dataclass(frozen=True)
class Item:
    """One entry of the timeline.

    ``number`` is what to correct, withdraw or undo it by: of a reading its newest entry, of a note its own. ``actions``
    are those that it takes. ``reading`` is the reading's JSON with its ``log``, ``data`` a note's fields.
    """

    source: Source
    number: int
    kind: str
    at: str
    standing: Standing
    words: str
    who: str | None = None
    asked: tuple[Question, ...] = ()
    history: tuple[Change, ...] = ()
    actions: tuple[Action, ...] = ()
    data: dict[str, Any] | None = None
    reading: dict[str, Any] | None = None
    dangers: tuple[str, ...] = ()


def timeline(
    c: Connection,
    batch: store.Row,
    limit: int | None = None,
    skip: int = 0,
    dangers: tuple[OpenDanger, ...] | None = None,
) -> tuple[list[Item], int]:
    """``limit`` items of a batch, newest first, after ``skip`` of them; and how many there are.

    ``dangers`` are the batch's open ones where they are known already.
    """
    made: list[tuple[str, int, Any]] = []
    rows = slim_rows(c, batch["id"])
    taken, newer = taken_times(rows, batch["opened_at"], batch["zone"]), corrected(rows)
    by_number = {row["id"]: row for row in rows}
    for row in rows:
        if row["corrects_id"] is None or row["corrects_id"] not in by_number:
            made.append((taken[row["id"]], row["id"], _Chain(row["id"], newer)))
    listed = notes_of_batch(c, batch["id"])
    read = [note for note in listed if isinstance(note, Note)]
    notes = _Notes(read, dangers_of_batch(c, batch["id"]) if dangers is None else dangers)
    made += [
        (n.at, n.id, n) for n in listed if isinstance(n, DamagedNote) or not isinstance(n.content, Strike | Amended)
    ]
    events = [e for e in store.batch_events(c, batch["id"]) if not e["what"].startswith(PREFIX)]
    made += [(e["at"], e["id"], e) for e in events]
    made.sort(key=lambda one: (one[0], one[1]), reverse=True)
    chosen = made[skip:] if limit is None else made[skip : skip + limit]
    numbers = [number for _at, _number, one in chosen if isinstance(one, _Chain) for number in one.numbers]
    whole = {row["id"]: row for row in store.entries_numbered(c, batch["id"], numbers)}
    return [_item(at, one, notes, whole, newer) for at, _number, one in chosen], len(made)


class _Chain:
    """Entry numbers of one photo, from the first to its newest correction."""

    def __init__(self, first: int, newer: dict[int, int]) -> None:
        self.numbers = [first]
        while newer.get(self.numbers[-1], 0) > self.numbers[-1]:
            self.numbers.append(newer[self.numbers[-1]])


class _Notes:
    """What the notes' own items need of the others: corrections, withdrawals, dangers."""

    def __init__(self, read: Sequence[Note], dangers: Sequence[OpenDanger]) -> None:
        self.now = {note.id: note for note in as_corrected(list(read))}
        self.out = withdrawals(list(read))
        self.about: dict[int, list[Note]] = {}
        target: dict[int, int] = {}
        for note in read:
            if isinstance(note.content, Strike | Amended):
                target[note.id] = target.get(note.content.note, note.content.note)
                self.about.setdefault(target[note.id], []).append(note)
        self.titles = _titles(read)
        self.dangers: dict[int, list[str]] = {}
        for danger in dangers:
            self.dangers.setdefault(danger.note, []).append(danger.sentence)


def _titles(read: Sequence[Note]) -> dict[str, str]:
    """Titles of the stages of the procedures that the batch went by, by their ids; none where they can't be read."""
    try:
        course = course_of(read)
    except CallError:
        return {}
    return {stage.id: stage.title for stage in (*course.been, *course.procedure.stages)}


def _item(at: str, one: Any, notes: _Notes, whole: dict[int, store.Row], newer: dict[int, int]) -> Item:  # noqa: ANN401 - any of the three
    if isinstance(one, _Chain):
        return _reading(at, [whole[number] for number in one.numbers], newer)
    if isinstance(one, Note):
        return _note(one, notes)
    if isinstance(one, DamagedNote):
        struck = one.id in notes.out
        standing: Standing = "withdrawn" if struck else "unreadable"
        return Item("note", one.id, one.kind, one.at, standing, _("can't be read; withdraw it and write it down again"),
                    actions=("put_back",) if struck else ("withdraw",))  # fmt: skip
    detail = one["detail"]
    words = ", ".join(_detail(name, value) for name, value in detail.items() if isinstance(value, str | int | float))
    return Item("batch", one["id"], one["what"], one["at"], "counts", words, data=detail)


def _detail(name: str, value: str | float) -> str:
    """One thing that was said of a batch: a code in words, the rest as it was said."""
    told = {"name": _("name"), "to": _("new name"), "from": _("old name"), "water": _("rinse water")}
    text = say(WATER.get(str(value), str(value))) if name == "water" else str(value)
    return f"{told.get(name) or say(name.replace('_', ' '))} {text}"


def _reading(at: str, rows: list[store.Row], newer: dict[int, int]) -> Item:
    last, extras = rows[-1], rows[-1]["extras"]
    history = tuple(_change(old, new) for old, new in pairwise(rows))
    asked = tuple(retold_question(Question.model_validate(q)) for q in extras.get("asked", []))
    withdrawn = bool(extras.get("withdrawn"))
    actions: list[Action] = ["put_back"] if withdrawn else ["correct", "withdraw", *(["undo"] if history else [])]  # type: ignore[list-item]
    standing: Standing = "withdrawn" if withdrawn else "asked" if asked else "counts"
    standing = "unreadable" if last.get("unreadable") else standing
    return Item(
        "reading",
        last["id"],
        last["kind"],
        at,
        standing,
        _said(last),
        rows[0]["made_by"],
        () if withdrawn else asked,
        history,
        tuple(actions),
        reading=shown(last, newer.get(last["id"])),
    )


def _change(old: store.Row, new: store.Row) -> Change:
    what: Any = "corrected"
    if new["origin"] == "reread":
        what = "read again"
    elif new["extras"].get("withdrawn"):
        what = "withdrawn"
    elif old["extras"].get("withdrawn"):
        what = "put back"
    elif old["extras"].get("asked") and (old["wash"], old["note"], old["value"]) == (
        new["wash"],
        new["note"],
        new["value"],
    ):
        what = "answered"
    return Change(new["id"], new["received_at"], what, new["made_by"], new["why"], _said(old))


def _said(row: store.Row) -> str:
    """What an entry says, short: its value, wash and note."""
    value, form = row["value"], ".2f" if row["kind"] == "ph" else ".3g"
    figure = _("no value") if value is None else f"{'pH ' if row['kind'] == 'ph' else ''}{number(value, form)}"
    if row["kind"] == "tint":
        figure = say(str(row["reading"].get("decision") or "no value"))
    parts = [figure, _("wash {n}", n=str(row["wash"])) if row["wash"] is not None else "", row["note"]]
    return ", ".join(part for part in parts if part)


def _note(first: Note, notes: _Notes) -> Item:
    note = notes.now[first.id]
    withdrawn = note.id in notes.out
    changes: list[Change] = []
    said = note_words(first, titles=notes.titles)
    done = {n.id: n for n in notes.about.get(note.id, [])}
    for one in done.values():
        assert isinstance(one.content, Strike | Amended)
        back = isinstance(one.content, Strike) and one.content.note in done
        what = "put back" if back else "withdrawn" if isinstance(one.content, Strike) else "corrected"
        if isinstance(one.content, Amended) and first.asked is not None and not changes:
            what = "answered"
        changes.append(Change(one.id, one.at, what, one.content.who, one.content.why, said))  # type: ignore[arg-type]
        if isinstance(one.content, Amended):
            said = note_words(first, one.content.data, notes.titles)
    undoable = any(one.id not in notes.out for one in done.values() if isinstance(one.content, Amended))
    actions: list[Action] = ["put_back"] if withdrawn else ["withdraw"]
    if not withdrawn and note.kind in AMENDABLE:
        actions = ["correct", *actions, *(["undo"] if undoable else [])]  # type: ignore[list-item]
    standing: Standing = "withdrawn" if withdrawn else "asked" if note.asked is not None else "counts"
    asked = () if note.asked is None or withdrawn else (retold_question(note.asked),)
    return Item(
        "note",
        note.id,
        note.kind,
        note.at,
        standing,
        note_words(note, titles=notes.titles),
        note.who or _by(note),
        asked,
        tuple(changes),
        tuple(actions),
        note.content.fields(),
        dangers=tuple(notes.dangers.get(note.id, ())),
    )


def _by(note: Note) -> str | None:
    who = getattr(note.content, "who", None)
    return str(who) if who else None
