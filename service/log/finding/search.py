"""Search over batches, what was written down, and readings: newest first, in pages that new rows don't shift.

Each of the three is asked by itself, from the place where the page before ended (keyset paging), and the three are
merged. The words that are kept of each row (``candidates``) narrow, or, where nothing is asked that they know, the
order of time; what counts is checked here, in the row itself, so that letters of every alphabet are found in either
case and a note's field names are no hits.
"""

from __future__ import annotations

import heapq
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

from sqlalchemy import ColumnElement, Connection, and_, func, or_, select

from service.bench.notes import KINDS
from service.log.benches.asking import asks, own_numbers
from service.log.finding.candidates import READINGS, STATUSES, Between, candidates, has_words, terms_of
from service.log.finding.sources import SOURCES, Found, Row, Source, Wanted, utc_text
from service.log.models import events
from service.log.search_words.rows import INNER, PREFIX
from stripread.errors import CallError
from stripread.words import _

LIMIT = 30  # a page, where nobody says how long
MOST = 200
_OWN = 1000  # batches of a bench that are few: all their rows are sorted for a page
_AT_ONCE = 100  # rows asked for in one go
_MANY = 8  # times as many where several things must hold together, which few rows may do
_LOOKED_AT = 1_000  # rows for one page: then it ends where it is, and the next goes on from there
_STRETCH = 10_000  # rows that the database goes through for one page
Looked = tuple[int, list[tuple[str, int, Row | None]]]  # how many, and of each time, number and row, if it may be it
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
    for cost, rows in _looked_at(c, rank, wanted, begin, own):
        before = begin
        for at, number, row in rows:
            before = (at, rank, number)
            if row is None:
                continue
            found, text = source.found(row)
            if all(word.casefold() in text for word in words):
                yield before, found
        looked += cost
        if looked >= _LOOKED_AT and before is not None:
            yield before, None
            return


def _looked_at(
    c: Connection, rank: int, wanted: Wanted, begin: Place | None, own: list[int] | None
) -> Iterator[Looked]:
    """Rows that may be it, in order, so many at a time.

    The kept words are for the keeper: a page of a bench may not end at a row of another one, nor tell its time.
    """
    source, words = SOURCES[rank], wanted.words.split()
    said = words or wanted.kind or wanted.status
    said = said if asks() is None and wanted.batch is None else ""  # a batch has few rows: they are read
    terms = terms_of(c, rank, words, wanted.kind, wanted.status) if said and has_words(c) else []
    if not terms:
        yield from _by_time(c, rank, wanted, begin, own)
        return
    at_once = _AT_ONCE if len(terms) == 1 else _AT_ONCE * _MANY
    for some in candidates(c, rank, terms, _between(rank, wanted, begin), at_once):
        asked = [candidate.number for candidate in some if candidate.holds]
        there: dict[int, Row] = {}
        if asked:
            query = source.query(wanted, []).where(source.id.in_(asked))
            there = {row["id"]: dict(row) for row in c.execute(query).mappings()}
        yield len(some), [(candidate.at, candidate.number, there.get(candidate.number)) for candidate in some]


def _by_time(c: Connection, rank: int, wanted: Wanted, begin: Place | None, own: list[int] | None) -> Iterator[Looked]:
    """Rows in the order of their time alone, narrowed by what every database compares alike.

    Where that may leave few, so many are gone through at a time, and the page ends there; a batch's own are few anyway.
    ``own``: the batches of a bench that has few. Their rows are fetched by batch and sorted, since among those of many
    other benches, walked through by time, they would lie too far apart.
    """
    source, words, before = SOURCES[rank], wanted.words.split(), begin
    time = source.at if own is None else func.coalesce(source.at, "")
    whole = (
        asks() is not None
        or wanted.batch is not None
        or not (words or wanted.kind or wanted.status or wanted.stage or wanted.state)
    )
    while True:
        end = None if whole else _end_of_stretch(c, rank, source, before)
        down_to = () if end is None else (source.at >= end[0], or_(source.at > end[0], source.id >= end[1]))
        while True:
            query = source.query(wanted, words).where(*_from(rank, source, before), *down_to)
            query = query if own is None else query.where(source.batch.in_(own))
            rows = c.execute(query.order_by(time.desc(), source.id.desc()).limit(_AT_ONCE)).mappings().all()
            yield len(rows), [(row["at"], row["id"], dict(row)) for row in rows]
            if len(rows) < _AT_ONCE:
                break
            before = (rows[-1]["at"], rank, rows[-1]["id"])
        if end is None:
            return
        before = (end[0], rank, end[1])
        yield _LOOKED_AT, [(*end, None)]


def _end_of_stretch(c: Connection, rank: int, source: Source, before: Place | None) -> tuple[str, int] | None:
    """The last of the next ``_STRETCH`` rows in the order of time; None where there are not so many."""
    query = select(source.at, source.id).where(*_from(rank, source, before))
    last = c.execute(query.order_by(source.at.desc(), source.id.desc()).offset(_STRETCH - 1).limit(1)).one_or_none()
    return None if last is None else (str(last[0]), int(last[1]))


def _between(rank: int, wanted: Wanted, begin: Place | None) -> Between:
    """The rows that come after this place, newest first, within the time that is wanted."""
    since, until = (None if at is None else utc_text(at) for at in (wanted.since, wanted.until))
    if begin is None:
        return Between(until=until, since=since)
    at, its_rank, number = begin
    if rank == its_rank:
        return Between(before=(at, number), until=until, since=since)
    if rank < its_rank:
        return Between(at_most=at, until=until, since=since)
    return Between(until=at if until is None else min(at, until), since=since)


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
