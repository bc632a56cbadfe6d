"""The words of the log's rows, kept by the transaction that adds a row, so that a search reads only what has its words.

Each row of ``search_rows`` says that one batch, note or reading has one word; ``search_ends`` has, for each of the
three, every end of every word, so that a part of a word is found as the beginning of one of its ends. A word is kept
as a number made from it: two that meet in one number cost a search a look more and change nothing that it finds, for
each row is read before it is shown. Beside the words that somebody wrote stand marks that nobody can write, since they
begin with a space: a note's kind, a reading's kind and status, the phone that took it. The rows prove nothing;
``log recount`` makes them anew.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator, Mapping

from sqlalchemy import Connection, bindparam, delete, insert, select

from service.bench.notes import KINDS, checked
from service.log.models import entries, photo_phones, search_ends, search_rows
from stripread.errors import CallError

PREFIX = "bench:"  # of an event that is a note
INNER = ("procedure",)  # notes that nobody wrote: a procedure's whole text
BATCH, NOTE, READING = range(3)  # what a row of the log is, in the order of the three sources
LONGEST = 16  # characters of an end that are kept; what comes after them is compared in the row itself
_IN_ONE = 30  # words asked for in one statement
_UNKEPT = re.compile("[\x00\ud800-\udfff]+")  # characters that no database keeps

_PHONE = select(photo_phones.c.phone_id).where(photo_phones.c.photo_sha256 == bindparam("sha256"))
_OF_PHOTO = select(entries.c.id, entries.c.received_at).where(entries.c.photo_sha256 == bindparam("sha256"))
_ADD_ROW, _ADD_END = insert(search_rows), insert(search_ends)


def word_number(word: str) -> int:
    """The number that stands for a word: the first 64 bits of its BLAKE2b (RFC 7693), signed."""
    digest = hashlib.blake2b(word.encode("utf-8", "surrogatepass"), digest_size=8).digest()
    return int.from_bytes(digest, "big", signed=True)


def words_in(*texts: object) -> set[str]:
    """The words of these texts, in small letters, as white space parts them."""
    return {word for text in texts if text for word in str(text).casefold().split()}


def ends_of(word: str) -> set[str]:
    """Every end of a word, as far as it is kept."""
    parts = _UNKEPT.split(word)
    return {part[place : place + LONGEST] for part in parts for place in range(len(part))}


def beginning_of(word: str) -> str:
    """What to look for among the ends for a part of a word; empty where nothing of it can be kept."""
    return max(_UNKEPT.split(word), key=len)[:LONGEST]


def kind_mark(kind: str) -> int:
    """What notes of a kind have as a word of theirs."""
    return word_number(f" note {kind}")


def status_mark(kind: str, status: str) -> int:
    """What readings of a kind with a status have as a word of theirs."""
    return word_number(f" reading {kind} {status}")


def phone_mark(phone: int) -> int:
    """What readings from a phone's photos have as a word of theirs."""
    return word_number(f" phone {phone}")


def is_shown(what: str) -> bool:
    """Whether an event is a note that a search shows."""
    return what.startswith(PREFIX) and what.removeprefix(PREFIX) not in INNER


def note_words(what: str, detail: str) -> tuple[set[str], int]:
    """The words of a note, none of one that can't be read, and its mark, which stands for all names of its kind."""
    kind = what.removeprefix(PREFIX)
    return words_in(*_note_values(kind, detail), "" if kind in KINDS else kind), kind_mark(kind)


def _note_values(kind: str, detail: str) -> list[str]:
    """What is in a note's fields; nothing of one that can't be read."""
    try:
        return list(values_in(checked(kind, json.loads(detail), in_log=True).fields()))
    except (ValueError, TypeError, AttributeError, RecursionError, CallError):
        return []


def values_in(value: object) -> Iterator[str]:
    """Each value of a note's fields as text, those in lists and groups too."""
    if isinstance(value, dict):
        for part in value.values():
            yield from values_in(part)
    elif isinstance(value, list | tuple):
        for part in value:
            yield from values_in(part)
    elif value is not None:
        yield str(value)


def keep_batch(c: Connection, number: int, at: str, name: str, before: str | None = None) -> None:
    """Keep the words of a batch's name, in place of those of the name ``before``."""
    new, old = words_in(name), words_in(before)
    gone = [word_number(word) for word in old - new]
    if gone:
        mine = (search_rows.c.source == BATCH) & (search_rows.c.at == at) & (search_rows.c.number == number)
        c.execute(delete(search_rows).where(mine, search_rows.c.word.in_(gone)))
    _keep(c, BATCH, at, number, new - old)


def keep_event(c: Connection, number: int, at: str, what: str, detail: str) -> None:
    """Keep the words of an event, if it is a note that a search shows."""
    if is_shown(what):
        words, mark = note_words(what, detail)
        _keep(c, NOTE, at, number, words, mark)


def keep_entry(c: Connection, number: int, row: Mapping[str, object]) -> None:
    """Keep the words of an entry, from its columns as stored, and by which phone it is."""
    marks = [status_mark(str(row["kind"]), str(row["status"]))]
    phone = c.execute(_PHONE, {"sha256": row["photo_sha256"]}).scalar()
    if phone is not None:
        marks.append(phone_mark(phone))
    _keep(c, READING, str(row["received_at"]), number, words_in(row["note"], row["why"]), *marks)


def keep_phone_of(c: Connection, sha256: str, phone: int) -> None:
    """Keep for the entries of a photo which phone took it, once that is known."""
    mark = phone_mark(phone)
    for number, at in c.execute(_OF_PHOTO, {"sha256": sha256}).all():
        place = (search_rows.c.source == READING, search_rows.c.at == at, search_rows.c.number == number)
        c.execute(delete(search_rows).where(search_rows.c.word == mark, *place))  # looked at anew
        c.execute(_ADD_ROW, {"word": mark, "source": READING, "at": at, "number": number})


def _keep(c: Connection, source: int, at: str, number: int, words: set[str], *marks: int) -> None:
    new = {word_number(word): word for word in words}
    if not new and not marks:
        return
    rows = [{"word": word, "source": source, "at": at, "number": number} for word in sorted({*new, *marks})]
    c.execute(_ADD_ROW, rows)
    asked = [(end, n) for n, end in ((n, beginning_of(word)) for n, word in new.items()) if end]
    known: set[int] = set()
    for first in range(0, len(asked), _IN_ONE):  # by key, each end with each word: SQLite reads all for pairs of them
        of_ends, of_words = zip(*asked[first : first + _IN_ONE], strict=True)
        some = search_ends.c.source == source, search_ends.c.ending.in_(of_ends), search_ends.c.word.in_(of_words)
        known |= set(c.execute(select(search_ends.c.word).where(*some)).scalars())
    ends = [
        {"source": source, "ending": end, "word": n}
        for n, word in new.items()
        if n not in known
        for end in sorted(ends_of(word))
    ]
    if ends:
        c.execute(_ADD_END, ends)
