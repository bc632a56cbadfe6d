"""Random logs, made fast through the store's own functions: batches, readings, corrections, notes, closings, keys."""

from __future__ import annotations

import hashlib
import json
import random
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from alembic import command
from sqlalchemy import Connection, text

from service.errors import WrongStatement
from service.log import store
from service.log.chain.links import append
from service.log.correction import Correction, corrected_entry
from service.log.course.standing import in_force
from service.log.database import Database
from service.log.models import metadata
from service.log.notes import add_note
from service.log.opening.form import steps
from stripread.errors import CallError

WORDS = (
    "wash",
    "тест",
    "塩化銀",
    'a "quoted" word',
    "line\nbreak",
    "tab\there",
    "naïve",
    "¼ full",
    "\u2028",
    "🧪",
    "=1+1",
    "",
)
PROFILE = 'name = "made up"\n[kind]\nrange = [0, 14]\n'


@dataclass(frozen=True)
class MadeLog:
    """A log that was made: its folder and its database, still open."""

    data: Path
    database: Database


def made_log(data: Path, seed: int, steps_taken: int = 25, url: str | None = None) -> MadeLog:
    """A random log in the folder ``data``; the same seed gives the same course of things."""
    rng = random.Random(seed)
    data.mkdir(parents=True, exist_ok=True)
    database = Database(url or f"sqlite:///{data / 'log.sqlite3'}")
    database.migrate()
    with database.write() as c:
        _new_batch(c, rng)
    left = steps_taken
    while left > 0:
        with database.write() as c:  # several things in one transaction, as a request does them
            for _ in range(min(left, rng.randint(1, 6))):
                left -= 1
                _step(c, data, rng)
    return MadeLog(data, database)


def as_older_form(made: MadeLog, place: Path, form: str = "0001", url: str | None = None) -> Database:
    """The same rows in a database of an older form, the first of which knows no chain.

    In a later one the first half of the entries and notes was there before the chain, the others were added with links.
    """
    config = steps()
    older = Database(url or f"sqlite:///{place}")
    with older.write(alone=True) as c:
        config.attributes["connection"] = c
        command.upgrade(config, "0001")
        rows = _rows_in_order(made, with_zones=form >= "0005")
        first = len(rows) if form == "0001" else len(rows) // 2
        _insert(c, rows[:first])
        command.upgrade(config, form)
        _insert(c, rows[first:])
        if form != "0001":
            append(c, rows[first:])
        if c.dialect.name == "postgresql":
            for name in ("batches", "events", "entries"):
                c.execute(text(f"SELECT setval(pg_get_serial_sequence('{name}', 'id'), max(id)) FROM {name}"))
    return older


def _rows_in_order(made: MadeLog, *, with_zones: bool) -> list[tuple[str, dict[str, Any]]]:
    """(table, row) of a log in an order in which they could have come; before form 5 no batch has a zone."""
    found: list[tuple[str, dict[str, Any]]] = []
    with made.database.read() as old:
        for name in ("batches", "profiles", "photos", "events", "entries", "keys"):
            for row in old.execute(metadata.tables[name].select()).mappings():
                cells = dict(row)
                if name == "batches" and not with_zones:
                    details = json.loads(cells["details"])
                    details.pop("zone", None)
                    cells["details"] = json.dumps(details)
                found.append((name, cells))
    return found


def _insert(c: Connection, rows: list[tuple[str, dict[str, Any]]]) -> None:
    for name, row in rows:
        c.execute(metadata.tables[name].insert(), row)


def _step(c: Connection, data: Path, rng: random.Random) -> None:
    batches = [row for row in store.all_batches(c) if row["closed_at"] is None]
    what = rng.choices(("entry", "correction", "note", "change", "batch", "key"), (9, 3, 5, 2, 1, 1))[0]
    if what == "batch" or not batches:
        _new_batch(c, rng)
        return
    batch = rng.choice(batches)
    if what == "entry":
        _entry(c, data, batch["id"], rng)
    elif what == "correction":
        _correct(c, batch["id"], rng)
    elif what == "note":
        _note(c, batch["id"], rng)
    elif what == "key" and store.last_entry(c, batch["id"]):
        store.add_key(c, (f"key {rng.random()}", "f" * 64), store.last_entry(c, batch["id"]))
    else:
        _change(c, batch, rng)


def _new_batch(c: Connection, rng: random.Random) -> None:
    number = store.add_batch(c, f"batch {rng.choice(WORDS)} {rng.randint(1, 99)}")
    details = {"water": rng.choice(("pure", "air", "tap")), "alkalinity_mmol_l": round(rng.uniform(0, 5), 2)}
    store.change_batch(c, number, name=None, closed=None, details=details)


def _change(c: Connection, batch: dict[str, Any], rng: random.Random) -> None:
    name = f"named anew {rng.choice(WORDS)}" if rng.random() < 0.6 else None
    store.change_batch(c, batch["id"], name=name, closed=rng.choice((None, True)), details=None)
    if rng.random() < 0.3:
        store.change_batch(c, batch["id"], name=None, closed=False, details={"water": "unknown"})


def _entry(c: Connection, data: Path, batch: int, rng: random.Random) -> None:
    photo = rng.randbytes(rng.randint(1, 40))  # short ones come again
    sha256 = hashlib.sha256(photo).hexdigest()
    place = data / "photos" / sha256[:2] / sha256
    place.parent.mkdir(parents=True, exist_ok=True)
    place.write_bytes(photo)
    reading = _reading(rng, sha256)
    with_profile = reading["kind"] == "ph"
    key = (f"key {rng.random()}", hashlib.sha256(photo).hexdigest()) if rng.random() < 0.5 else None
    new = store.NewEntry(
        batch_id=batch,
        kind=reading["kind"],
        origin=rng.choice(("photo", "watch")),
        photo_sha256=sha256,
        photo_size=len(photo),
        reading=reading,
        wash=rng.choice((None, rng.randint(1, 12))),
        note=rng.choice(WORDS),
        snapped_at=rng.choice((None, "2026-05-12T10:00:00+02:00")),
        profile=(hashlib.sha256(PROFILE.encode()).hexdigest(), PROFILE) if with_profile else None,
        extras={"said": {"temperature_c": rng.choice((20, 21.5))}, "colours": [[50.0, rng.gauss(0, 9), 3]]},
    )
    store.add_entry(c, new, key)


def _reading(rng: random.Random, sha256: str) -> dict[str, Any]:
    kind = rng.choice(("ph", "ph", "ph", "tint", "solid"))
    refused = rng.random() < 0.15
    value = rng.choice((rng.uniform(0, 14), float(rng.randint(0, 14)), rng.randint(1, 9), 0.1 + 0.2, 1e-9))
    interval = None if refused else [value - rng.random(), value + rng.random()]
    reason = {"code": "no_card", "severity": "refuse", "message": "No card: lay it flat, take it anew."}
    common = {
        "photo": f"{rng.choice(WORDS)}.jpg",
        "kind": kind,
        "status": "refused" if refused else rng.choice(("ok", "doubtful")),
        "reasons": [reason] if refused else [],
        "sha256": sha256,
        "software": "stripread 0.1.0",
        "seconds": rng.random(),
    }
    names = {"ph": ("ph", "interval"), "tint": ("mg_per_l", "interval"), "solid": ("pale_fraction", "pale_interval")}
    return {**common, names[kind][0]: None if refused else value, names[kind][1]: interval}


def _correct(c: Connection, batch: int, rng: random.Random) -> None:
    rows = in_force(store.entries_of(c, batch))
    if not rows:
        return
    old = rng.choice(rows)
    said = rng.choice(({"wash": rng.randint(1, 12)}, {"note": rng.choice(WORDS)}, {"withdraw": True}))
    if old["kind"] == "ph" and rng.random() < 0.4:
        said = {"ph": 6.5, "interval": (6.0, 7.0)}
    text = store.profile_text(c, old["profile_sha256"]) if old["profile_sha256"] else None
    kept = (old["profile_sha256"], text) if text is not None else None
    try:
        correction = Correction.model_validate({"by": "M.", "why": "a slip", **said})
        store.add_entry(c, corrected_entry(old, correction, store.photo_size(c, old["photo_sha256"]), kept))
    except WrongStatement:
        return  # it would have changed nothing


def _note(c: Connection, batch: int, rng: random.Random) -> None:
    kind, data = rng.choice(
        (
            ("weight", {"of": "chloride", "grams": rng.uniform(1, 500)}),
            ("decant", {"name": f"wash {rng.randint(1, 9)}", "litres": rng.uniform(0.1, 2)}),
            ("vessel", {"retained_l": rng.uniform(0.01, 0.3)}),
            ("used", {"what": "lye", "grams": rng.randint(1, 90)}),
        )
    )
    try:
        add_note(c, batch, kind, data)
    except CallError:
        return  # a second weight asks back: as at the bench, nothing is written then
