"""Rows of the log held against what they name, and against the readings in them."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator

from sqlalchemy import Connection, inspect, select

from service.log.models import answers, batches, entries, events, keys, photos, profiles
from service.log.store import figures
from service.log.unreadable import read_row
from stripread.words import _


def profile_faults(c: Connection) -> Iterator[str]:
    """Profiles whose text is not that of their hash."""
    for row in c.execute(select(profiles)):
        if hashlib.sha256(str(row.text).encode()).hexdigest() != row.sha256:
            yield _("profile {sha256} is not what it was", sha256=row.sha256)


def json_faults(c: Connection) -> Iterator[str]:
    """Batches, events and kept answers whose JSON can't be read."""
    answering = inspect(c).has_table("answers")  # not in a log of an older form
    for what, number, text in [
        *(("batch", row.id, row.details) for row in c.execute(select(batches))),
        *(("event", row.id, row.detail) for row in c.execute(select(events))),
        *(("answer", repr(row.key), row.answer) for row in (c.execute(select(answers)) if answering else ())),
    ]:
        try:
            torn = not isinstance(json.loads(text), dict)
        except (ValueError, TypeError, RecursionError):
            torn = True
        if torn:
            yield _("{what} {number} can't be read", what=what, number=number)


def entry_faults(c: Connection) -> Iterator[str]:
    """Entries that can't be read, differ from their own reading, or name what is not there."""
    known = set(c.execute(select(photos.c.sha256)).scalars())
    kept = set(c.execute(select(profiles.c.sha256)).scalars())
    batch_ids = set(c.execute(select(batches.c.id)).scalars())
    batch_of = {row.id: row.batch_id for row in c.execute(select(entries.c.id, entries.c.batch_id))}
    for row in c.execute(select(entries).order_by(entries.c.id)):
        checks = [
            (_torn(dict(row._mapping)), _("does not agree with its reading")),
            (row.photo_sha256 not in known, _("names an unknown photo")),
            (row.batch_id not in batch_ids, _("is in no batch")),
            (row.profile_sha256 is not None and row.profile_sha256 not in kept, _("names an unknown profile")),
            (
                row.corrects_id is not None and batch_of.get(row.corrects_id) != row.batch_id,
                _("corrects no entry of its batch"),
            ),
            (row.corrects_id is not None and not row.why, _("corrects without saying why")),
        ]
        yield from (f"entry {row.id} {what}" for wrong, what in checks if wrong)
    for key in c.execute(select(keys)):
        if key.entry_id not in batch_of:
            yield _("key {key!r} names no entry", key=key.key)


def _torn(row: dict[str, object]) -> bool:
    """Whether the columns differ from the reading that they were taken from, or it can't be read at all."""
    entry = read_row(row)
    if entry.get("unreadable"):
        return True
    reading = entry["reading"]
    try:
        said = (
            reading["sha256"],
            reading["kind"],
            reading["status"],
            str(reading["software"]),
            *(None if figure is None else float(figure) for figure in figures(reading)),
        )
    except (KeyError, TypeError, ValueError):
        return True
    names = ("photo_sha256", "kind", "status", "software", "value", "low", "high")
    return said != tuple(row[name] for name in names)
