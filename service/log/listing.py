"""A batch's entries in pieces: a long list must neither hold up the page's other requests nor fill the memory.

Entries are only ever added, so the entries up to the newest one at the start are one state of the log, however long
their reading takes.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from typing import Any

from service.log import store
from service.log.aside.phones import label
from service.log.database import Database
from service.log.entries import all_shown

AT_ONCE = 40  # entries read and written in one go: a few milliseconds

_HEAD = (
    "id,received_at,snapped_at,taken_at,wash,kind,status,value,low,high,note,reasons,origin,corrects,corrected_by,"
    "made_by,why,withdrawn,photo,sha256,profile,profile_sha256,software,waited_s,temperature_c,rinse,blank_entry,"
    "cells_entry,vials_changed,moment_utc,moment_local,moment_zone,moment_source,phone"
)
COLUMNS = _HEAD.split(",")
Piece = tuple[list[store.Row], dict[int, int]]  # rows in order, and which entry corrects which of them


def pieces(database: Database, batch: int, after: int = 0, limit: int | None = None) -> Iterator[Piece]:
    """The batch's entries after one of them, at most ``limit``, as far as they are there when this begins."""
    with database.read() as c:
        newest = store.last_entry(c, batch)
    left = limit
    while after < newest and left != 0:
        with database.read() as c:
            rows = store.entries_of(c, batch, after=after, limit=AT_ONCE if left is None else min(AT_ONCE, left))
            rows = [row for row in rows if row["id"] <= newest]
            newer = store.correctors(c, batch, [row["id"] for row in rows], newest)
        if not rows:
            return
        after = rows[-1]["id"]
        left = None if left is None else left - len(rows)
        yield rows, newer


def json_list(found: Iterator[Piece]) -> Iterator[str]:
    """The entries as one JSON array."""
    yield "["
    first = True
    for rows, newer in found:
        text = ",".join(_json(entry) for entry in all_shown(rows, newer))
        yield text if first else "," + text
        first = False
    yield "]"


def json_export(head: dict[str, Any], found: Iterator[Piece]) -> Iterator[str]:
    """One JSON object: what ``head`` says, and ``readings``, each on a line of its own."""
    yield json.dumps(head, indent=1, ensure_ascii=False, allow_nan=False)[:-2] + ',\n "readings": ['
    first = True
    for rows, newer in found:
        lines = ",".join("\n  " + _json(entry) for entry in all_shown(rows, newer))
        yield lines if first else "," + lines
        first = False
    yield "\n ]\n}\n"


def csv_export(found: Iterator[Piece], *, head: bool = True) -> Iterator[str]:
    """The entries as CSV (RFC 4180), corrections and what they correct included; ``head`` with the columns' names."""
    if head:
        yield _lines([COLUMNS])
    for rows, newer in found:
        yield _lines([_cells(row, newer.get(row["id"])) for row in rows])


def csv_text(rows: list[list[Any]]) -> str:
    """Rows of cells as CSV (RFC 4180), none of them a formula to a spreadsheet."""
    return _lines([[_cell(cell) for cell in row] for row in rows])


def _json(entry: dict[str, Any]) -> str:
    return json.dumps(entry, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def _lines(rows: list[list[Any]]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\r\n").writerows(rows)
    return out.getvalue()


def _cells(row: store.Row, corrected_by: int | None) -> list[Any]:
    reading, said = row["reading"], row["extras"].get("said", {})
    known = {
        **row,
        "taken_at": reading.get("taken_at"),
        "moment_utc": row["moment"].at,
        "moment_local": row["moment"].local,
        "moment_zone": row["moment"].zone,
        "moment_source": row["moment"].source,
        "reasons": " ".join(r["code"] for r in reading["reasons"]),
        "corrects": row["corrects_id"],
        "corrected_by": corrected_by,
        "withdrawn": "yes" if row["extras"].get("withdrawn") else "",
        "photo": reading["photo"],
        "sha256": row["photo_sha256"],
        "profile": reading.get("profile"),
        "waited_s": reading.get("waited_s"),
        "temperature_c": said.get("temperature_c"),
        "rinse": "yes" if said.get("rinse") else "",
        "blank_entry": row["extras"].get("blank", {}).get("entry"),
        "cells_entry": row["extras"].get("cells", {}).get("entry"),
        "vials_changed": "yes" if row["extras"].get("cells", {}).get("changed") else "",
        "phone": label(row.get("make"), row.get("model"), row.get("phone_name")),
    }
    return [_cell(known[name]) for name in COLUMNS]


def _cell(value: Any) -> Any:  # noqa: ANN401 - a cell
    """A cell that no spreadsheet takes for a formula."""
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r"):
        return "'" + value
    return value
