"""The chain walked from its beginning: each link must follow from the one before, each row be what its link says.

It is walked a piece at a time, each with the rows of its links, so that a large log takes no more memory than a small
one, and a walk that was stopped goes on from the last link that it came to.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any

from sqlalchemy import Connection, Row, RowMapping, Select, String, Table, cast, func, inspect, select
from sqlalchemy.exc import DatabaseError

from service.log.chain.links import GROWS, KEY, MARK, Head, content_hash, link_hash
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
AT_ONCE = 2000  # links in one piece
_IN_ONE = 500  # values in one statement
_LARGEST = 2**63 - 1

RowFault = Callable[[str, RowMapping], str | None]  # what a table's row has beside its hash that is wrong


@dataclass(frozen=True)
class Place:
    """How far a chain was walked: the last link, and what was found up to there.

    ``holds_to`` is the last link up to which everything follows. Bound to the chain by that link's own hash.
    """

    n: int = 0
    link: str = ""
    holds_to: int = 0
    faults: tuple[str, ...] = ()


BEGINNING = Place()


@dataclass(frozen=True)
class Walk:
    """What walking the chain found."""

    head: Head = field(default=Head(0, ""))
    began: str = ""  # when, as the mark says
    taken_up: int = 0  # rows that were there before the chain: links 2 to 1 + taken_up say how they stood then
    faults: tuple[str, ...] = ()
    holds_to: int = 0  # the last link up to which everything follows
    asked: int | None = None  # the number of the link whose hash was asked for


def walk(
    c: Connection,
    asked: str | None = None,
    *,
    start: Place = BEGINNING,
    row_fault: RowFault = lambda _table, _row: None,
    each: Callable[[Place], None] = lambda _place: None,
) -> Walk:
    """Walk the chain and hold every row against it.

    Parameters
    ----------
    asked
        First digits of a printed hash to look for.
    start
        Where an earlier walk of this chain was stopped: links and rows up to there are not looked at again.
    row_fault
        Looks at each row beside its hash.
    each
        Told the place after each piece.
    """
    there = set(inspect(c).get_table_names())
    if chain.name not in there:
        return Walk(faults=(_("the log has no chain"),))
    place, rows = start, _Rows(c, row_fault, there)
    for links in _pieces(c, start.n):
        place = _followed(links, place)
        found = [fault for name, latest in _by_table(links).items() for fault in rows.held_against(name, latest)]
        place = replace(place, faults=place.faults + tuple(found))
        each(place)
    faults = [*place.faults, *rows.batches(), *_twice(c), *(fault for name in KEY for fault in rows.others(name))]
    if place.n == 0:
        faults.append(_("chain: its beginning is missing"))
    mark = _mark(c.execute(select(chain.c.detail).where(chain.c.n == 1, chain.c.what == MARK)).scalar() or "")
    taken_up = mark.get("taken_up")
    place_of_asked = None
    if asked is not None:
        place_of_asked = c.execute(
            select(func.max(chain.c.n)).where(chain.c.link.startswith(asked, autoescape=True))
        ).scalar()
    return Walk(
        Head(place.n, place.link),
        str(mark.get("at", "")),
        taken_up if isinstance(taken_up, int) else 0,
        tuple(dict.fromkeys(faults)),
        place.holds_to,
        place_of_asked,
    )


def _pieces(c: Connection, after: int) -> Iterator[list[Row[Any]]]:
    while True:
        links = c.execute(select(chain).where(chain.c.n > after).order_by(chain.c.n).limit(AT_ONCE)).all()
        if not links:
            return
        yield list(links)
        after = links[-1].n


def _followed(links: list[Row[Any]], place: Place) -> Place:
    """The place after these links, with what is wrong with them."""
    faults = list(place.faults)
    n, before, holds_to = place.n, place.link, place.holds_to
    for row in links:
        wrong = _wrong(row, n, before)
        if wrong:
            faults.append(wrong)
        elif holds_to == n:
            holds_to = row.n
        n, before = row.n, str(row.link)
    return Place(n, before, holds_to, tuple(faults))


def _wrong(row: Row[Any], n: int, before: str) -> str | None:
    """What is wrong with this link, if anything, where the one before is number ``n``."""
    if row.n != n + 1:
        return _("chain: link {n} is missing", n=n + 1)
    if link_hash(row.n, str(row.what), str(row.row_key), str(row.content), before) != row.link:
        return _("chain: link {n} does not follow from the one before it", n=row.n)
    if (row.what == MARK) != (row.n == 1):
        return (
            _("chain: it does not begin with its mark")
            if row.n == 1
            else _("chain: a second mark at link {n}", n=row.n)
        )
    if row.what == MARK:
        if hashlib.sha256(str(row.detail).encode()).hexdigest() != row.content or not _mark(str(row.detail)):
            return _("chain: its mark was changed")
    elif row.what not in KEY:
        return _("chain: link {n} stands for no row of a log", n=row.n)
    return None


def _mark(detail: str) -> dict[str, object]:
    try:
        return dict(json.loads(detail))
    except (ValueError, TypeError):
        return {}


def _by_table(links: list[Row[Any]]) -> dict[str, dict[str, str]]:
    """Key -> content of the rows that these links stand for, by table; batches change and are held by themselves."""
    found: dict[str, dict[str, str]] = {}
    for row in links:
        if row.what in GROWS:
            found.setdefault(str(row.what), {})[str(row.row_key)] = str(row.content)
    return found


@dataclass
class _Rows:
    """Rows held against their links; ``broken`` are tables that can't be read: one fault, and no more is asked."""

    c: Connection
    row_fault: RowFault
    there: set[str]
    broken: set[str] = field(default_factory=set)

    def held_against(self, name: str, latest: dict[str, str]) -> list[str]:
        """Hold the rows of a table with these keys against the content that their links tell."""
        if name not in self.there or name in self.broken:
            return []
        table = metadata.tables[name]
        numbered = name in _NUMBERED
        keys: list[Any] = [int(key) for key in latest if _is_number(key)] if numbered else list(latest)
        faults: list[str] = []
        gone = dict.fromkeys(latest)
        for first in range(0, len(keys), _IN_ONE):
            query = select(table).where(table.c[KEY[name]].in_(keys[first : first + _IN_ONE]))
            faults += self.part(name, partial(self._compared, query, name, latest, gone))
        if name not in self.broken:
            faults += [_("{one} {key} was taken out of the log", one=_ONE[name], key=key) for key in gone]
        return faults

    def _compared(self, query: Select[Any], name: str, latest: dict[str, str], gone: dict[str, None]) -> list[str]:
        faults = []
        for row in self.c.execute(query.order_by(metadata.tables[name].c[KEY[name]])).mappings():
            key = str(row[KEY[name]])
            gone.pop(key, None)
            if latest[key] != content_hash(name, dict(row)):
                faults.append(_("{one} {key} is not what it was", one=_ONE[name], key=key))
            beside = self.row_fault(name, row)
            faults += [] if beside is None else [beside]
        return faults

    def part(self, name: str, part: Callable[[], list[str]]) -> list[str]:
        """What a part finds in a table; that it can't be read is one fault."""
        try:
            return part()
        except DatabaseError as problem:
            self.broken.add(name)
            said = str(problem.orig).splitlines()[0]
            return [_("{table} can't be read: {splitlines_0}", table=name, splitlines_0=said)]

    def batches(self) -> list[str]:
        """Each batch held against its newest link."""
        newest = select(func.max(chain.c.n)).where(chain.c.what == "batches").group_by(chain.c.row_key)
        links = self.c.execute(select(chain).where(chain.c.n.in_(newest)))
        return self.held_against("batches", {str(row.row_key): str(row.content) for row in links})

    def others(self, name: str) -> list[str]:
        """Rows of a table that no link stands for, and whether the newest were cut off."""
        if name not in self.there or name in self.broken:
            return []
        return self.part(name, lambda: [*_unlinked(self.c, name), *_cut_off(self.c, name)])


def _is_number(key: str) -> bool:
    return key.isascii() and key.isdigit() and int(key) <= _LARGEST


def _twice(c: Connection) -> list[str]:
    """Links that stand for a row that another one stands for."""
    again = (
        select(chain.c.what, chain.c.row_key, func.max(chain.c.n).label("n"))
        .where(chain.c.what.in_(GROWS))
        .group_by(chain.c.what, chain.c.row_key)
        .having(func.count() > 1)
    )
    return [
        _(
            "chain: link {n} stands for {one} {row_key} a second time",
            n=row.n,
            one=_ONE[row.what],
            row_key=row.row_key,
        )
        for row in c.execute(again)
    ]


def _unlinked(c: Connection, name: str) -> list[str]:
    """Rows that no link stands for."""
    key = metadata.tables[name].c[KEY[name]]
    linked = select(chain.c.row_key).where(chain.c.what == name)
    found = sorted(str(one) for one in c.execute(select(cast(key, String)).except_(linked)).scalars())
    return [
        _("{one} {key} has no link in the chain: it was not added by this program", one=_ONE[name], key=one)
        for one in found
    ]


def _cut_off(c: Connection, name: str) -> list[str]:
    """SQLite counts the numbers that it gave, and takes one back with the transaction that it was given in."""
    if name not in _NUMBERED or c.dialect.name != "sqlite":
        return []
    table: Table = metadata.tables[name]
    highest = c.execute(select(func.max(table.c.id))).scalar() or 0
    counted = c.exec_driver_sql("SELECT seq FROM sqlite_sequence WHERE name = ?", (name,)).scalar()
    if (counted or 0) == highest:
        return []
    return [
        _(
            "{table}: the newest is number {highest}, but the database has given number {value}",
            table=name,
            highest=highest,
            value=counted or 0,
        )
    ]
