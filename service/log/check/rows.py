"""Rows of the log held against what they name, and against the readings in them."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator

from sqlalchemy import Connection, RowMapping, and_, inspect, select

from service.log.chain.links import KEY
from service.log.models import batches, chain, entries, keys, metadata, photos, profiles
from service.log.store import figures
from service.log.unreadable import read_row
from stripread.words import _

_JSON = {"batches": ("batch", "id", "details"), "events": ("event", "id", "detail")}
_JSON |= {"answers": ("answer", "key", "answer")}
_AT_ONCE = 500  # rows read in one go


def row_fault(table: str, row: RowMapping) -> str | None:
    """What is wrong with a row by itself: JSON that can't be read, columns that differ from their reading."""
    if table == "entries":
        return f"entry {row['id']} {_('does not agree with its reading')}" if _torn(dict(row)) else None
    if table == "profiles":
        whole = hashlib.sha256(str(row["text"]).encode()).hexdigest() == row["sha256"]
        return None if whole else _("profile {sha256} is not what it was", sha256=row["sha256"])
    if table in _JSON:
        what, key, text = _JSON[table]
        try:
            torn = not isinstance(json.loads(row[text]), dict)
        except (ValueError, TypeError, RecursionError):
            torn = True
        number = repr(row[key]) if table == "answers" else row[key]
        return _("{what} {number} can't be read", what=what, number=number) if torn else None
    return None


def faults_without_chain(c: Connection) -> Iterator[str]:
    """What is wrong with rows by themselves, in a log that has no chain to walk."""
    there = set(inspect(c).get_table_names())
    for name in KEY if chain.name not in there else ():
        if name in there:
            for row in c.execute(select(metadata.tables[name])).yield_per(_AT_ONCE).mappings():
                fault = row_fault(name, row)
                if fault is not None:
                    yield fault


def naming_faults(c: Connection) -> Iterator[str]:
    """Entries and keys that name what is not there, and corrections that correct nothing or don't say why."""
    corrected = entries.alias("corrected")
    same_batch = and_(corrected.c.id == entries.c.corrects_id, corrected.c.batch_id == entries.c.batch_id)
    is_correction = entries.c.corrects_id.is_not(None)
    for other, on, where, what in (
        (photos, photos.c.sha256 == entries.c.photo_sha256, photos.c.sha256.is_(None), _("names an unknown photo")),
        (batches, batches.c.id == entries.c.batch_id, batches.c.id.is_(None), _("is in no batch")),
        (
            profiles,
            profiles.c.sha256 == entries.c.profile_sha256,
            and_(entries.c.profile_sha256.is_not(None), profiles.c.sha256.is_(None)),
            _("names an unknown profile"),
        ),
        (corrected, same_batch, and_(is_correction, corrected.c.id.is_(None)), _("corrects no entry of its batch")),
    ):
        query = select(entries.c.id).select_from(entries.outerjoin(other, on)).where(where).order_by(entries.c.id)
        yield from (f"entry {number} {what}" for number in c.execute(query).scalars())
    silent = select(entries.c.id).where(is_correction, (entries.c.why.is_(None)) | (entries.c.why == ""))
    yield from (f"entry {number} {_('corrects without saying why')}" for number in c.execute(silent).scalars())
    loose = select(keys.c.key).select_from(keys.outerjoin(entries, entries.c.id == keys.c.entry_id))
    for key in c.execute(loose.where(entries.c.id.is_(None))).scalars():
        yield _("key {key!r} names no entry", key=key)


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
