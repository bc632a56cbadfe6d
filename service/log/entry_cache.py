"""A batch's entries without what only their own pages show, kept in memory: forecast and gate need nothing else.

Entries are never changed, so after the first time only new ones are read from the log. Their pads, strips and colours
make up most of a reading's text; nothing that counts over a batch looks at them.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from dataclasses import dataclass, field
from weakref import WeakKeyDictionary

from sqlalchemy import Connection, Engine, select

from service.log.models import entries
from service.log.store import Row
from service.log.unreadable import read_row

HEAVY = frozenset({"pads", "strips", "budget", "alternatives"})  # what is left out of a reading
BATCHES = 16  # kept in memory at once; some hundred bytes an entry
AT_ONCE = 200  # entries fetched in one go
_COLUMNS = (
    "id",
    "kind",
    "received_at",
    "snapped_at",
    "wash",
    "value",
    "low",
    "high",
    "corrects_id",
    "profile_sha256",
    "reading",
    "extras",
)


@dataclass
class _Kept:
    rows: list[Row] = field(default_factory=list)
    lock: threading.Lock = field(default_factory=threading.Lock)


_kept: WeakKeyDictionary[Engine, OrderedDict[int, _Kept]] = WeakKeyDictionary()
_choosing = threading.Lock()


def slim_rows(c: Connection, batch_id: int) -> list[Row]:
    """All entries of a batch in order, as ``store.entries_of`` gives them but with ``_COLUMNS`` only, without HEAVY.

    The list is the caller's own; its rows are shared and must not be changed.
    """
    kept = _of(c.engine, batch_id)
    if c.get_execution_options().get("writes", False):  # what it has added may yet be taken back: nothing is kept
        with kept.lock:
            known = list(kept.rows)
        return known + _after(c, batch_id, known)
    with kept.lock:  # one thread reads what is new, the others wait and have it
        kept.rows += _after(c, batch_id, kept.rows)
        return list(kept.rows)


def _of(engine: Engine, batch_id: int) -> _Kept:
    with _choosing:
        batches = _kept.setdefault(engine, OrderedDict())
        kept = batches.setdefault(batch_id, _Kept())
        batches.move_to_end(batch_id)
        while len(batches) > BATCHES:
            batches.popitem(last=False)
        return kept


def _after(c: Connection, batch_id: int, known: list[Row]) -> list[Row]:
    found: list[Row] = []
    while True:
        last = (found or known or [{"id": 0}])[-1]["id"]
        query = (
            select(*(entries.c[name] for name in _COLUMNS))
            .where(entries.c.batch_id == batch_id, entries.c.id > last)
            .order_by(entries.c.id)
            .limit(AT_ONCE)
        )
        came = [_slim(dict(row)) for row in c.execute(query).mappings()]
        found += came
        if len(came) < AT_ONCE:
            return found


def _slim(row: Row) -> Row:
    read = read_row(row)
    reading = {name: value for name, value in read["reading"].items() if name not in HEAVY}
    extras: Row = {"withdrawn": bool(read["extras"].get("withdrawn", False))}
    if read["extras"].get("asked"):
        extras["asked"] = read["extras"]["asked"]
    if read["extras"].get("cells"):  # a tint counts only as long as the photo of its vials does
        extras["cells"] = {"entry": read["extras"]["cells"]["entry"]}
    return {**read, "reading": reading, "extras": extras}
