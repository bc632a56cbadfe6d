"""Which rows may be what a search looks for: by the words and marks that are kept of each row, newest first.

A search is a list of terms; each is what any of some words stand for (all words that have a part, the kinds that forms
call so, the phones of that name), and all terms must hold. The term with the fewest rows is walked, in the order of
time and by stretches of it that grow, so that neither a word that is in few rows nor one that is in many costs more in
a longer log; the others are asked of each of its rows by key.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from weakref import WeakSet

from sqlalchemy import ColumnElement, Connection, Engine, and_, exists, func, inspect, literal, or_, select

from service.bench.notes import KINDS
from service.log.models import now, phones, search_ends, search_rows
from service.log.search_words.rows import (
    INNER,
    NOTE,
    READING,
    beginning_of,
    kind_mark,
    phone_mark,
    status_mark,
)
from stripread.words import say

READINGS = ("ph", "tint", "solid", "cells")
STATUSES = ("ok", "doubtful", "refused")
_BROAD = 1000  # words that a part may be of; one that is of more is looked for in the rows themselves
_FEW = 2000  # rows of a term that are sorted as they are, however long ago
_LAST = "\U0010ffff"  # comes after every text that begins alike
_STRETCHES = tuple(timedelta(days=8**n) for n in range(4))  # of time, one after the other; then all before them
Term = tuple[int, ...]  # numbers of words, any of which


@dataclass(frozen=True)
class Between:
    """Rows before a place (time, number), or up to a time, and from another time on; None leaves an end open."""

    before: tuple[str, int] | None = None
    until: str | None = None
    at_most: str | None = None
    since: str | None = None


@dataclass(frozen=True)
class Candidate:
    """One row that may be it: its place, and whether all other terms hold."""

    at: str
    number: int
    holds: bool


_HAVE: WeakSet[Engine] = WeakSet()  # logs that were seen to have the words of their rows


def has_words(c: Connection) -> bool:
    """Whether the log keeps the words of its rows; one of an older form that is only read does not."""
    if c.engine not in _HAVE and inspect(c).has_table(search_rows.name):
        _HAVE.add(c.engine)
    return c.engine in _HAVE


def terms_of(c: Connection, source: int, words: Sequence[str], kind: str | None, status: str | None) -> list[Term]:
    """What a row of this source must have, as far as the kept words can say it."""
    found = [term for term in (_of_word(c, source, word) for word in words) if term is not None]
    if source == NOTE and kind is not None:
        found.append((kind_mark(kind),))
    if source == READING and (kind is not None or status is not None):
        kinds, statuses = READINGS if kind is None else (kind,), STATUSES if status is None else (status,)
        found.append(tuple(status_mark(k, s) for k in kinds for s in statuses))
    return found


def _of_word(c: Connection, source: int, word: str) -> Term | None:
    """The words that have this part, and the marks that go by it; None where they are too many to say."""
    part = beginning_of(word.casefold())
    if not part:
        return None
    ending = search_ends.c.ending
    has = select(search_ends.c.word).distinct().where(search_ends.c.source == source, ending >= part)
    has = has.where(ending < part + _LAST)
    found = list(c.execute(has.limit(_BROAD + 1)).scalars())
    if len(found) > _BROAD:
        return None
    if source == NOTE:
        found += [kind_mark(kind) for kind, names in _kind_names() if word.casefold() in names.casefold()]
    if source == READING:
        for row in c.execute(select(phones)):
            names = " ".join(name for name in (row.make, row.model, row.name) if name)
            found += [phone_mark(row.id)] if word.casefold() in names.casefold() else []
    return tuple(sorted(set(found)))


def _kind_names() -> Iterator[tuple[str, str]]:
    """Each kind of note with the names that it goes by: its own, the form's, and that in the reader's language."""
    for kind, content in KINDS.items():
        if kind not in INNER:
            label = content.label or kind
            yield kind, f"{kind} {label} {say(label)}"


def candidates(
    c: Connection, source: int, terms: Sequence[Term], between: Between, at_once: int
) -> Iterator[list[Candidate]]:
    """Rows that have what the terms say, newest first, so many at a time; rows of which one term does not hold, too."""
    if not all(terms):
        return
    counted = sorted((_count(c, source, term, between), term) for term in terms)
    (few, first), others = counted[0], [term for _many, term in counted[1:]]
    whole = few <= _FEW or len(first) == 1
    for stretch in (between,) if whole else _stretches(between):
        before = stretch
        while True:
            rows = _walk(c, source, (first, *others), before, at_once)
            if rows:
                yield rows
                before = Between((rows[-1].at, rows[-1].number), since=stretch.since)
            if len(rows) < at_once:
                break


def _walk(c: Connection, source: int, terms: Sequence[Term], between: Between, at_once: int) -> list[Candidate]:
    """The next rows of the first term."""
    first, *others = terms
    place = (search_rows.c.at, search_rows.c.number)
    query = select(*place).where(_any(search_rows.c.word, first), search_rows.c.source == source, *_inside(between))
    query = query if len(first) == 1 else query.distinct()
    query = query.order_by(*(column.desc() for column in place)).limit(at_once)
    if others:
        walked = query.subquery()
        holds = and_(*(_has(source, walked.c.at, walked.c.number, term) for term in others))
        query = select(walked, holds.label("holds")).order_by(walked.c.at.desc(), walked.c.number.desc())
    else:
        query = query.add_columns(literal(1).label("holds"))
    return [Candidate(row.at, row.number, bool(row.holds)) for row in c.execute(query)]


def _has(source: int, at: ColumnElement[str], number: ColumnElement[int], term: Term) -> ColumnElement[bool]:
    other = search_rows.alias()
    mine = (other.c.source == source, other.c.at == at, other.c.number == number)
    return exists().where(_any(other.c.word, term), *mine)


def _any(column: ColumnElement[int], term: Term) -> ColumnElement[bool]:
    return column == term[0] if len(term) == 1 else column.in_([literal(n, literal_execute=True) for n in term])


def _count(c: Connection, source: int, term: Term, between: Between) -> int:
    """How many rows a term has between these; of more than few, so many."""
    some = select(search_rows.c.number).where(
        _any(search_rows.c.word, term), search_rows.c.source == source, *_inside(between)
    )
    return int(c.execute(select(func.count()).select_from(some.limit(_FEW + 1).subquery())).scalar_one())


def _inside(between: Between) -> Iterator[ColumnElement[bool]]:
    at, number = search_rows.c.at, search_rows.c.number
    if between.before is not None:
        time, nth = between.before
        yield at <= time
        yield or_(at < time, number < nth)
    if between.at_most is not None:
        yield at <= between.at_most
    if between.until is not None:
        yield at < between.until
    if between.since is not None:
        yield at >= between.since


def _stretches(between: Between) -> Iterator[Between]:
    """The same in stretches of time, newest first; the last has all before them."""
    newest = between.before[0] if between.before else between.at_most or between.until or now()
    top = between
    try:
        end = datetime.fromisoformat(newest)
        begins = [(end - stretch).isoformat(timespec="microseconds") for stretch in _STRETCHES]
    except (ValueError, OverflowError):
        begins = []
    for begin in begins:
        if between.since is not None and begin <= between.since:
            break
        yield Between(top.before, top.until, top.at_most, begin)
        top = Between(until=begin, since=between.since)
    yield Between(top.before, top.until, top.at_most, between.since)
