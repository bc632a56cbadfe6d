"""The chain walked from its beginning: each link must follow from the one before, each row be what its link says."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, Row, inspect, select
from sqlalchemy.exc import DatabaseError

from service.log.chain.links import GROWS, KEY, MARK, NOTHING, Head, content_hash, link_hash
from service.log.models import chain, metadata
from stripread.words import _

_ONE = {
    "entries": "entry",
    "events": "event",
    "photos": "photo",
    "profiles": "profile",
    "keys": "key",
    "answers": "answer",
    "batches": "batch",
}
_NUMBERED = ("batches", "entries", "events")


@dataclass(frozen=True)
class Walk:
    """What walking the chain found."""

    head: Head = NOTHING
    began: str = ""  # when, as the mark says
    taken_up: int = 0  # rows that were there before the chain: links 2 to 1 + taken_up say how they stood then
    faults: tuple[str, ...] = ()
    holds_to: int = 0  # the last link up to which everything follows
    asked: int | None = None  # the number of the link whose hash was asked for


@dataclass
class _Links:
    latest: dict[tuple[str, str], str] = field(default_factory=dict)  # (table, key) -> content
    faults: list[str] = field(default_factory=list)
    head: Head = NOTHING
    mark: dict[str, object] = field(default_factory=dict)
    holds_to: int = 0
    asked: int | None = None


def walk(c: Connection, asked: str | None = None) -> Walk:
    """Walk the chain and hold every row against it. ``asked``: first digits of a printed hash to look for."""
    if not inspect(c).has_table("chain"):
        return Walk(faults=(_("the log has no chain"),))
    found = _links(c, asked)
    faults = found.faults
    for table in KEY:
        try:
            faults += _held_against(c, table, found.latest)
        except DatabaseError as problem:
            faults.append(
                _("{table} can't be read: {splitlines_0}", table=table, splitlines_0=str(problem.orig).splitlines()[0])
            )
    faults += [
        _("{one} {key} was taken out of the log", one=_ONE.get(what, what), key=key)
        for what, key in found.latest
        if what != MARK
    ]
    taken_up = found.mark.get("taken_up")
    return Walk(
        found.head,
        str(found.mark.get("at", "")),
        taken_up if isinstance(taken_up, int) else 0,
        tuple(faults),
        found.holds_to,
        found.asked,
    )


def _links(c: Connection, asked: str | None) -> _Links:
    found = _Links()
    for row in c.execute(select(chain).order_by(chain.c.n)):
        here = Head(row.n, str(row.link))
        wrong = _wrong(row, found)
        if wrong:
            found.faults.append(wrong)
        elif not found.faults:
            found.holds_to = row.n
        place = (str(row.what), str(row.row_key))
        if place in found.latest and row.what in GROWS:
            found.faults.append(
                _(
                    "chain: link {n} stands for {one} {row_key} a second time",
                    n=row.n,
                    one=_ONE[row.what],
                    row_key=row.row_key,
                )
            )
        found.latest[place] = str(row.content)
        if asked is not None and here.link.startswith(asked):
            found.asked = row.n
        found.head = here
    if found.head.n == 0:
        found.faults.append(_("chain: its beginning is missing"))
    return found


def _wrong(row: Row[Any], so_far: _Links) -> str | None:
    """What is wrong with this link, if anything; the mark at the beginning is taken in."""
    if row.n != so_far.head.n + 1:
        return _("chain: link {n} is missing", n=so_far.head.n + 1)
    if link_hash(row.n, str(row.what), str(row.row_key), str(row.content), so_far.head.link) != row.link:
        return _("chain: link {n} does not follow from the one before it", n=row.n)
    if (row.what == MARK) != (row.n == 1):
        return (
            _("chain: it does not begin with its mark")
            if row.n == 1
            else _("chain: a second mark at link {n}", n=row.n)
        )
    if row.what == MARK:
        so_far.mark = _mark(str(row.detail))
        if hashlib.sha256(str(row.detail).encode()).hexdigest() != row.content or not so_far.mark:
            return _("chain: its mark was changed")
    elif row.what not in KEY:
        return _("chain: link {n} stands for no row of a log", n=row.n)
    return None


def _mark(detail: str) -> dict[str, object]:
    try:
        return dict(json.loads(detail))
    except (ValueError, TypeError):
        return {}


def _held_against(c: Connection, table: str, latest: dict[tuple[str, str], str]) -> list[str]:
    """Hold the rows of a table against their links, which are taken out of ``latest``."""
    faults = []
    columns = metadata.tables[table]
    highest = 0
    for row in c.execute(select(columns).order_by(columns.c[KEY[table]])).mappings():
        key = str(row[KEY[table]])
        content = latest.pop((table, key), None)
        if content is None:
            faults.append(
                _("{one} {key} has no link in the chain: it was not added by this program", one=_ONE[table], key=key)
            )
        elif content != content_hash(table, dict(row)):
            faults.append(_("{one} {key} is not what it was", one=_ONE[table], key=key))
        if table in _NUMBERED:
            highest = row["id"]
    return faults + (_cut_off(c, table, highest) if table in _NUMBERED and c.dialect.name == "sqlite" else [])


def _cut_off(c: Connection, table: str, highest: int) -> list[str]:
    """SQLite counts the numbers that it gave, and takes one back with the transaction that it was given in."""
    counted = c.exec_driver_sql("SELECT seq FROM sqlite_sequence WHERE name = ?", (table,)).scalar()
    if (counted or 0) == highest:
        return []
    return [
        _(
            "{table}: the newest is number {highest}, but the database has given number {value}",
            table=table,
            highest=highest,
            value=counted or 0,
        )
    ]
