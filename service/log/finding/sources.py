"""What a search looks through: batches, notes and readings, each with its SQL and with the text of a row.

The SQL narrows by whatever every database does alike; the text is what words are then looked for in.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import ColumnElement, Select, case, exists, false, func, or_, select

from service.bench.notes import KINDS, Note, checked
from service.log.aside.phones import label
from service.log.aside.stages import first_stage
from service.log.benches.asking import only_own
from service.log.models import batch_stages, batches, entries, events, phones, photo_phones
from service.log.search_words.rows import INNER, PREFIX, values_in
from service.report.batch_record import note_text
from stripread.errors import CallError
from stripread.words import N_, _, say

LOST = N_("This note's row is damaged and can't be read.")
DECISIONS = ("none seen", "copper", "undecided")  # of a tint
Row = dict[str, Any]


@dataclass(frozen=True)
class Wanted:
    """What is looked for; what is left out is not asked.

    Parameters
    ----------
    words
        Every word must be in the batch's name, in what was written down, or in a reading's note.
    kind
        ``batch``, a kind of note (``weight`` …) or of reading (``ph``, ``tint``, ``solid``, ``cells``).
    state, stage
        Of the batch: ``open`` or ``closed``; the id of the stage that it is in now.
    status
        Of a reading: ``ok``, ``doubtful``, ``refused``.
    since, until
        Times with their zone: from ``since`` on, before ``until``.
    """

    words: str = ""
    kind: str | None = None
    state: str | None = None
    stage: str | None = None
    status: str | None = None
    since: datetime | None = None
    until: datetime | None = None
    batch: int | None = None


@dataclass(frozen=True)
class Found:
    """One batch, note or reading. ``counts``: it is neither struck out, nor corrected or withdrawn."""

    what: str
    id: int
    batch: int
    batch_name: str
    closed: bool
    stage: str
    kind: str
    at: str
    text: str
    status: str | None = None
    wash: int | None = None
    phone: str | None = None
    counts: bool = True


@dataclass(frozen=True)
class Source:
    """One of the three: its columns of time, number and batch, its rows for what is wanted, a row as it is shown.

    ``found`` gives the row, and the text in which words are looked for, in small letters.
    """

    at: ColumnElement[str]
    id: ColumnElement[int]
    batch: ColumnElement[int]
    query: Callable[[Wanted, list[str]], Select[Any]]
    found: Callable[[Row], tuple[Found, str]]


_OF_BATCH = (
    batches.c.id.label("batch_id"),
    batches.c.name.label("batch_name"),
    batches.c.closed_at,
    func.coalesce(batch_stages.c.stage, "").label("stage"),
    batch_stages.c.batch_id.label("staged"),
)
_NEWER = entries.alias("newer")


def _narrowed(query: Select[Any], at: ColumnElement[str], wanted: Wanted) -> Select[Any]:
    """Rows of the batches and the time that are wanted, of the asker's batches alone."""
    query = only_own(query, batches.c.id).outerjoin(batch_stages, batch_stages.c.batch_id == batches.c.id)
    if wanted.since is not None:
        query = query.where(at >= utc_text(wanted.since))
    if wanted.until is not None:
        query = query.where(at < utc_text(wanted.until))
    if wanted.batch is not None:
        query = query.where(batches.c.id == wanted.batch)
    if wanted.state is not None:
        closed = batches.c.closed_at
        query = query.where(closed.is_(None) if wanted.state == "open" else closed.is_not(None))
    if wanted.stage is not None:
        here = func.coalesce(batch_stages.c.stage, "") == wanted.stage  # in the order of time, not stage by stage
        query = query.where(or_(here, batch_stages.c.batch_id.is_(None)) if wanted.stage == first_stage() else here)
    return query


def utc_text(at: datetime) -> str:
    """A time as the log writes it."""
    return at.astimezone(UTC).isoformat(timespec="microseconds")


def _in_any(
    words: list[str], *columns: ColumnElement[Any], also: Callable[[str], ColumnElement[bool]] = lambda _: false()
) -> Iterator[ColumnElement[bool]]:
    """Each word is in one of the columns, as far as every database compares alike: the letters a to z and figures.

    The rest of a word is looked for in the row's text.
    """
    for word in words:
        part = max(re.findall(r"[a-z0-9]+", word.lower()), key=len, default="")
        if part:
            yield or_(*(column.icontains(part) for column in columns), also(word))


def _batches(wanted: Wanted, words: list[str]) -> Select[Any]:
    query = select(batches.c.id, batches.c.opened_at.label("at"), *_OF_BATCH).select_from(batches)
    return _narrowed(query, batches.c.opened_at, wanted).where(*_in_any(words, batches.c.name))


def _batch(row: Row) -> tuple[Found, str]:
    name = str(row["batch_name"])
    return _made(row, "batch", "batch", name), name.casefold()


def _notes(wanted: Wanted, words: list[str]) -> Select[Any]:
    query: Select[Any] = select(events.c.id, events.c.at, events.c.what, events.c.detail, *_OF_BATCH)
    query = query.select_from(events.join(batches, batches.c.id == events.c.batch_id))
    query = _narrowed(query, events.c.at, wanted)
    if wanted.kind is not None:
        query = query.where(events.c.what == PREFIX + wanted.kind)
    else:
        query = query.where(events.c.what.startswith(PREFIX), events.c.what.not_in([PREFIX + kind for kind in INNER]))
    return query.where(*_in_any(words, events.c.what, events.c.detail, also=_labelled))


def _labelled(word: str) -> ColumnElement[bool]:
    """Notes of a kind that forms call by this word."""
    named = {kind: f"{content.label or ''} {say(content.label or '')}" for kind, content in KINDS.items()}
    kinds = [PREFIX + kind for kind, names in named.items() if word.casefold() in names.casefold()]
    return events.c.what.in_(kinds) if kinds else false()


def _note(row: Row) -> tuple[Found, str]:
    kind = str(row["what"]).removeprefix(PREFIX)
    label_of = (KINDS[kind].label or kind) if kind in KINDS else kind
    name = f"{label_of} {say(label_of)}"  # found by either
    try:
        content = checked(kind, json.loads(row["detail"]), in_log=True)
        text = note_text(Note(content, row["at"], row["id"]))
    except (ValueError, TypeError, AttributeError, RecursionError, CallError):
        return _made(row, "note", kind, say(LOST)), f"{kind} {name}".casefold()
    said = " ".join(values_in(content.fields()))
    return _made(row, "note", kind, text), f"{kind} {name} {said}".casefold()


def _readings(wanted: Wanted, words: list[str]) -> Select[Any]:
    corrected = exists().where(_NEWER.c.corrects_id == entries.c.id).label("corrected")
    decided = case(
        *((entries.c.reading.contains(f'"decision": "{word}"'), word) for word in DECISIONS), else_=""
    ).label("decision")
    withdrawn = entries.c.extras.contains('"withdrawn": true').label("withdrawn")
    own = ("id", "kind", "status", "value", "low", "high", "wash", "note", "why")
    columns = [entries.c[name] for name in own]
    query: Select[Any] = select(
        *columns, entries.c.received_at.label("at"), corrected, withdrawn, decided, *_OF_BATCH,
        photo_phones.c.phone_id, phones.c.make, phones.c.model, phones.c.name.label("phone_name"),
    )  # fmt: skip
    query = query.select_from(
        entries.join(batches, batches.c.id == entries.c.batch_id)
        .outerjoin(photo_phones, photo_phones.c.photo_sha256 == entries.c.photo_sha256)
        .outerjoin(phones, phones.c.id == photo_phones.c.phone_id)
    )
    query = _narrowed(query, entries.c.received_at, wanted)
    if wanted.kind is not None:
        query = query.where(entries.c.kind == wanted.kind)
    if wanted.status is not None:
        query = query.where(entries.c.status == wanted.status)
    said = (entries.c.note, entries.c.why, phones.c.make, phones.c.model, phones.c.name)
    return query.where(*_in_any(words, *said))


def _reading(row: Row) -> tuple[Found, str]:
    phone = label(row["make"], row["model"], row["phone_name"])
    text = "; ".join(
        part
        for part in (say(row["decision"]) if row["decision"] else "", value_words(row), str(row["note"] or ""))
        if part
    )
    shown = _made(
        row, "reading", str(row["kind"]), text, status=str(row["status"]), wash=row["wash"], phone=phone,
        counts=not row["corrected"] and not row["withdrawn"],
    )  # fmt: skip
    said = (row["note"], row["why"], row["make"], row["model"], row["phone_name"])
    return shown, " ".join(str(part) for part in said if part).casefold()


def value_words(row: Row) -> str:
    """An entry's value with its interval; empty without one."""
    value, low, high = (row[name] for name in ("value", "low", "high"))
    numbers = (value, low, high)
    if not all(isinstance(number, int | float) for number in numbers):
        return ""
    if row["kind"] == "ph":
        return _("pH {ph:.2f} ({low:.2f} to {high:.2f})", ph=value, low=low, high=high)
    if row["kind"] == "tint":
        return _("{value:.3g} mg/L copper ({low:.3g} to {high:.3g})", value=value, low=low, high=high)
    return _("{share:.1%} pale ({low:.1%} to {high:.1%})", share=value, low=low, high=high)


def _made(row: Row, what: str, kind: str, text: str, **more: Any) -> Found:  # noqa: ANN401 - fields of Found
    stage = str(row["stage"]) if row["staged"] is not None else first_stage()
    return Found(
        what, row["id"], row["batch_id"], str(row["batch_name"]), row["closed_at"] is not None, stage, kind,
        str(row["at"]), text, **more,
    )  # fmt: skip


SOURCES = (
    Source(batches.c.opened_at, batches.c.id, batches.c.id, _batches, _batch),
    Source(events.c.at, events.c.id, events.c.batch_id, _notes, _note),
    Source(entries.c.received_at, entries.c.id, entries.c.batch_id, _readings, _reading),
)
