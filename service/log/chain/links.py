"""Links of the chain: the hash of a row, and the hash over a link and the one before it.

Hashed is canonical JSON in the sense of RFC 8785 (JSON Canonicalization Scheme): sorted keys, no white space, UTF-8.
Only text and whole numbers are in it: a column's JSON is hashed as the stored text, a floating-point column as its
shortest exact decimal text, and columns without a value are left out, so that a column added later changes no old hash.
The hash is SHA-256 (FIPS 180-4).
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from sqlalchemy import Connection, insert, select

from service.log.chain.locks import one_writer
from service.log.models import chain

GROWS = ("entries", "events", "photos", "profiles", "keys", "answers")  # their rows stay as they were added
KEY = {"entries": "id", "events": "id", "batches": "id", "photos": "sha256", "profiles": "sha256", "keys": "key"}
KEY["answers"] = "key"
MARK = "mark"

_NEWEST = select(chain.c.n, chain.c.link).order_by(chain.c.n.desc()).limit(1)
_ADD = insert(chain)


@dataclass(frozen=True)
class Head:
    """The newest link: its number and its hash, which stands for all rows up to it."""

    n: int
    link: str


NOTHING = Head(0, "")


def canonical(value: object) -> bytes:
    """The one way to write text, whole numbers, and lists and maps of them, as bytes."""
    return json.dumps(value, sort_keys=True, ensure_ascii=False, separators=(",", ":"), default=repr).encode(
        "utf-8", "surrogatepass"
    )


def content_hash(table: str, row: Mapping[str, object]) -> str:
    """SHA-256 of one row of a table, from its columns as they are stored."""
    cells = {name: repr(cell) if isinstance(cell, float) else cell for name, cell in row.items() if cell is not None}
    return hashlib.sha256(canonical([table, cells])).hexdigest()


def link_hash(n: int, what: str, row_key: str, content: str, before: str) -> str:
    """SHA-256 over a link's own fields and the hash of the link before it."""
    return hashlib.sha256(canonical([n, what, row_key, content, before])).hexdigest()


def has_link(c: Connection, link: str) -> bool:
    """Whether this hash is, or once was, the head of this chain; the empty one of a log without rows always is."""
    return not link or c.execute(select(chain.c.n).where(chain.c.link == link).limit(1)).first() is not None


def head(c: Connection) -> Head:
    """The newest link."""
    row = c.execute(_NEWEST).one_or_none()
    return NOTHING if row is None else Head(row.n, row.link)


def append(c: Connection, rows: Iterable[tuple[str, Mapping[str, object]]]) -> None:
    """Tie these rows, as (table, columns as stored), to the chain, in the transaction that adds them.

    Nobody else can take the same place: the chain is held from here to the transaction's end.
    """
    _add(c, [(table, str(row[KEY[table]]), content_hash(table, row), "") for table, row in rows])


def begin(c: Connection, detail: Mapping[str, object], rows: Iterable[tuple[str, Mapping[str, object]]]) -> None:
    """Begin the chain with a mark that says so in ``detail``, and take up rows that were there before."""
    words = canonical(detail).decode()
    found = [(table, str(row[KEY[table]]), content_hash(table, row), "") for table, row in rows]
    _add(c, [(MARK, "begun", hashlib.sha256(words.encode()).hexdigest(), words), *found])


def _add(c: Connection, links: list[tuple[str, str, str, str]]) -> None:
    one_writer(c)
    newest = head(c)
    values = []
    for what, row_key, content, detail in links:
        n = newest.n + 1
        newest = Head(n, link_hash(n, what, row_key, content, newest.link))
        values.append(
            {"n": n, "what": what, "row_key": row_key, "content": content, "link": newest.link, "detail": detail}
        )
    if values:
        c.execute(_ADD, values)
