"""The words of a whole log: kept anew, many rows in one go, and held against the rows that they are of."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import lru_cache
from typing import Any

from sqlalchemy import Connection, Table, delete, select, text

from service.log.many_rows import write_many
from service.log.models import batches, entries, events, photo_phones, search_ends, search_rows
from service.log.search_words.rows import (
    BATCH,
    NOTE,
    READING,
    ends_of,
    is_shown,
    note_words,
    phone_mark,
    status_mark,
    word_number,
    words_in,
)
from stripread.words import _

_AT_ONCE = 5_000  # rows of the log read in one go
_SORTED = 300_000  # rows written in one go, in the order of their key: each page of the database once
_MODULUS = 2**64
Words = dict[tuple[int, int], str]  # by source and number
Kept = tuple[int, int, str, int]  # a row of search_rows: word, source, at, number


def recount_words(c: Connection) -> None:
    """Keep the words of all rows anew."""
    c.execute(delete(search_rows))
    c.execute(delete(search_ends))
    words: Words = {}
    waiting: list[Kept] = []
    for kept in _all_rows(c, words):
        waiting.append(kept)
        if len(waiting) >= _SORTED:
            write_many(c, search_rows, sorted(waiting))
            waiting = []
    write_many(c, search_rows, sorted(waiting))
    write_many(c, search_ends, sorted(_ends(words)))
    if c.dialect.name == "postgresql":  # so that it knows how many there are before anybody asks
        c.execute(text(f"ANALYZE {search_rows.name}, {search_ends.name}"))


def word_faults(c: Connection) -> Iterator[str]:
    """Whether what the search reads is what the log's rows say; one sentence if not."""
    words: Words = {}
    said = _digest(_all_rows(c, words))
    kept = _digest((row.word, row.source, row.at, row.number) for row in _streamed(c, search_rows))
    missing = _ends(words)
    if said == kept:
        for row in _streamed(c, search_ends):
            missing.discard((row.source, row.ending, row.word))
    if said != kept or missing:
        yield _("the search's words are not those of the log's rows: `stripread log recount` takes them anew")


def _digest(rows: Iterable[Kept]) -> tuple[int, int]:
    """How many rows, and a sum of numbers made from them: the same in whatever order they come."""
    count = total = 0
    for row in rows:
        count += 1
        total = (total + hash(row)) % _MODULUS
    return count, total


def _ends(words: Words) -> set[tuple[int, str, int]]:
    """What ``search_ends`` must have for these words."""
    return {(source, end, number) for (source, number), word in words.items() for end in ends_of(word)}


def _all_rows(c: Connection, words: Words) -> Iterator[Kept]:
    """What ``search_rows`` is to hold; the words by their numbers are put into ``words``."""
    for row in _by_number(c, select(batches.c.id, batches.c.opened_at, batches.c.name), batches):
        yield from _kept((BATCH, row.opened_at, row.id), words_in(row.name), (), words)
    for row in _by_number(c, select(events.c.id, events.c.at, events.c.what, events.c.detail), events):
        if is_shown(row.what):
            said, mark = _note_words(row.what, row.detail)
            yield from _kept((NOTE, row.at, row.id), said, (mark,), words)
    own = (entries.c[name] for name in ("id", "received_at", "kind", "status", "note", "why"))
    by_phone = entries.outerjoin(photo_phones, photo_phones.c.photo_sha256 == entries.c.photo_sha256)
    for row in _by_number(c, select(*own, photo_phones.c.phone_id).select_from(by_phone), entries):
        marks = (status_mark(row.kind, row.status), *(() if row.phone_id is None else (phone_mark(row.phone_id),)))
        yield from _kept((READING, row.received_at, row.id), words_in(row.note, row.why), marks, words)


_note_words = lru_cache(maxsize=20_000)(note_words)  # many notes say the same


def _kept(place: tuple[int, str, int], said: set[str], marks: tuple[int, ...], words: Words) -> Iterator[Kept]:
    """What one row has; ``place`` is its source, time and number."""
    of_row = {word_number(word): word for word in said}
    words.update({(place[0], word): text for word, text in of_row.items()})
    for word in {*of_row, *marks}:
        yield word, *place


def _by_number(c: Connection, query: Any, table: Table) -> Iterator[Any]:  # noqa: ANN401 - rows of any query
    """A query's rows in the order of the table's numbers, so many at a time that others may write meanwhile."""
    after = -1
    while True:
        rows = c.execute(query.where(table.c.id > after).order_by(table.c.id).limit(_AT_ONCE)).all()
        yield from rows
        if len(rows) < _AT_ONCE:
            return
        after = rows[-1].id


def _streamed(c: Connection, table: Table) -> Iterator[Any]:
    yield from c.execute(select(table), execution_options={"yield_per": _AT_ONCE})
