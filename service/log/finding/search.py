"""Search over batches, what was written down, and readings: newest first, in pages that new rows don't shift.

Each of the three is asked by itself, in the order of its index by time, from the place where the page before ended
(keyset paging), and the three are merged. Portable SQL narrows; what counts is checked here, so that letters of every
alphabet are found in either case and a note's field names are no hits.
"""

from __future__ import annotations

import heapq
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

from sqlalchemy import ColumnElement, Connection, and_, func, or_, select

from service.bench.notes import KINDS
from service.log.benches.asking import own_numbers
from service.log.finding.sources import INNER, PREFIX, SOURCES, Found, Source, Wanted
from service.log.models import events
from stripread.errors import CallError
from stripread.words import _

LIMIT = 30  # a page, where nobody says how long
MOST = 200
READINGS = ("ph", "tint", "solid", "cells")
STATUSES = ("ok", "doubtful", "refused")
_OWN = 1000  # batches of a bench that are few: all their rows are sorted for a page
_AT_ONCE = 100  # rows asked for in one go
_LOOKED_AT = 5_000  # rows for one page: then it ends where it is, and the next goes on from there
Place = tuple[str, int, int]  # time, rank, number: the order of everything found, newest first


@dataclass(frozen=True)
class Page:
    """What was found, newest first; ``after`` brings the next page, None where this was the last."""

    found: tuple[Found, ...]
    after: str | None


def search(c: Connection, wanted: Wanted, *, limit: int = LIMIT, after: str | None = None) -> Page:
    """One page of what is found.

    Raises
    ------
    CallError
        For a kind, state or status that there is not, or a page that no search gave.
    """
    _check(wanted)
    begin = None if after is None else _place(after)
    own = own_numbers(c, _OWN + 1)
    own = None if own is None or len(own) > _OWN else own
    streams = [_stream(c, rank, wanted, begin, own) for rank in range(3) if _may_be(rank, wanted)]
    page: list[Found] = []
    last: Place | None = None
    for place, found in heapq.merge(*streams, key=lambda row: row[0], reverse=True):
        if found is not None and len(page) == limit:
            return Page(_with_strikes(c, page), _cursor(last))
        last = place
        if found is None:  # one of the three has looked at enough rows
            return Page(_with_strikes(c, page), _cursor(place))
        page.append(found)
    return Page(_with_strikes(c, page), None)


def _check(wanted: Wanted) -> None:
    for name, given, known in (
        ("kind", wanted.kind, ("batch", *READINGS, *(k for k in KINDS if k not in INNER))),
        ("state", wanted.state, ("open", "closed")),
        ("status", wanted.status, STATUSES),
    ):
        if given is not None and given not in known:
            known_words = ", ".join(known)
            raise CallError(_("{name} is one of {known}, not {given!r}", name=name, known=known_words, given=given))


def _may_be(rank: int, wanted: Wanted) -> bool:
    """Whether a batch (0), a note (1) or a reading (2) can be what is looked for."""
    kind = wanted.kind
    of = None if kind is None else 0 if kind == "batch" else 2 if kind in READINGS else 1
    return of in (None, rank) and (wanted.status is None or rank == 2)


def _cursor(place: Place | None) -> str | None:
    return None if place is None else "~".join(str(part) for part in place)


def _place(text: str) -> Place:
    parts = re.fullmatch(r"([0-9T:.+-]{10,32})~([012])~(\d{1,10})", text)
    if parts is None:
        raise CallError("there is no such page: begin the search anew")
    return parts[1], int(parts[2]), int(parts[3])


def _stream(
    c: Connection, rank: int, wanted: Wanted, begin: Place | None, own: list[int] | None
) -> Iterator[tuple[Place, Found | None]]:
    """What one of the three finds, in order; None with a place where it has looked at enough rows.

    ``own``: the batches of a bench that has few. Their rows are fetched by batch and sorted, since among those of many
    other benches, walked through by time, they would lie too far apart.
    """
    source, words, looked = SOURCES[rank], wanted.words.split(), 0
    before, time = begin, source.at if own is None else func.coalesce(source.at, "")
    while True:
        query = source.query(wanted, words).where(*_from(rank, source, before))
        query = query if own is None else query.where(source.batch.in_(own))
        rows = c.execute(query.order_by(time.desc(), source.id.desc()).limit(_AT_ONCE)).mappings().all()
        for row in rows:
            before = (row["at"], rank, row["id"])
            looked += 1
            found, text = source.found(dict(row))
            if all(word.casefold() in text for word in words):
                yield before, found
        if len(rows) < _AT_ONCE:
            return
        if looked >= _LOOKED_AT and before is not None:
            yield before, None
            return


def _from(rank: int, source: Source, before: Place | None) -> Iterator[ColumnElement[bool]]:
    """Rows that come after this place, newest first: the keyset."""
    if before is None:
        return
    at, its_rank, number = before
    if rank < its_rank:
        yield source.at <= at
    elif rank > its_rank:
        yield source.at < at
    else:
        yield or_(source.at < at, and_(source.at == at, source.id < number))


def _with_strikes(c: Connection, page: list[Found]) -> tuple[Found, ...]:
    """The same, notes that were struck out marked."""
    of = {found.batch for found in page if found.what == "note"}
    if not of:
        return tuple(page)
    query = select(events.c.detail).where(events.c.what == f"{PREFIX}strike", events.c.batch_id.in_(sorted(of)))
    struck = set()
    for text in c.execute(query).scalars():
        try:
            struck.add(json.loads(text)["note"])
        except (ValueError, TypeError, KeyError, RecursionError):
            continue  # a damaged strike strikes nothing
    return tuple(replace(f, counts=False) if f.what == "note" and f.id in struck else f for f in page)
