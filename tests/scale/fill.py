"""A large log in little time: the rows that the store would add, with their links, many in one statement.

``python -m tests.scale.fill DATA --entries 100000 [--batches N] [--database URL] [--photos]``: into an empty log.
Batches stand beside each other on tens of benches, so that a batch's rows lie apart as they would. Nothing is written
past the log's own guards, and ``stripread log check`` finds such a log whole (with ``--photos``: the files as well).
"""

from __future__ import annotations

import argparse
import hashlib
import json
import random
import secrets
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, bindparam, insert, text, update

from service.log.aside.sums import count_all
from service.log.chain.links import KEY, Head, content_hash, head
from service.log.database import Database
from service.log.many_rows import write_many
from service.log.models import batch_stages, batches, metadata
from service.log.noted.rows import PREFIX
from service.log.noted.vessel import keep_due
from service.log.search_words.recount import recount_words
from service.log.store import figures
from stripread.json_line import json_line
from tests.scale.shape import HANDED_OVER_EVERY, KIND, Closed, Photo, Step, Written, course

AT_ONCE = 40_000  # links written in one go
BENCHES = 24
MINUTES = 6  # from one row's time to the next: 100,000 entries are some two years
ORDER = ("batches", "profiles", "photos", "events", "entries", "keys", "chain", "phones", "photo_phones")
PROFILE = hashlib.sha256(KIND.encode()).hexdigest()
_HERE = "0" * 64  # stands in a reading's text for its photo's hash
_Text = tuple[str, float | None, float | None, float | None]  # of a reading: its JSON, value, low and high
PHONES = (("", "made-up one"), ("", "made-up two"), ("", "made-up three"))


@dataclass
class _Bench:
    """What stands on one bench: its batch, its steps to come, the numbers of its entries and notes so far."""

    batch: dict[str, Any]
    steps: Iterator[Step]
    entries: list[int] = field(default_factory=list)
    photos: list[str] = field(default_factory=list)
    notes: list[int] = field(default_factory=list)


class Filler:
    """Adds batches to an empty log until it has as many entries."""

    def __init__(self, data: Path, url: str, *, seed: int = 1, photos: bool = False, handed_over: bool = True) -> None:
        self._database = Database(url)
        self._rng = random.Random(seed)
        self._folder = data / "photos" if photos else None
        self._handed_over = handed_over
        self._rows: dict[str, list[dict[str, Any]]] = {name: [] for name in ORDER}
        self._texts: dict[int, _Text] = {}
        self._shapes: list[dict[str, Any]] = []
        self._closed: list[dict[str, Any]] = []
        self._stages: dict[int, str] = {}
        self._newest = Head(0, "")
        self._numbers = {"batches": 0, "events": 0, "entries": 0}
        self._at = datetime.now(UTC)

    def fill(self, entries: int, each: int) -> dict[str, int]:
        """Add batches of about ``each`` entries; gives how many rows of what there are."""
        self._database.migrate()
        with self._database.read() as c:
            self._newest = head(c)
        self._at = datetime.now(UTC) - timedelta(days=1, minutes=2 * MINUTES * entries)
        self._tie("profiles", {"sha256": PROFILE, "text": KIND, "first_at": self._time()})
        self._rows["phones"] += [{"id": n + 1, "make": a, "model": b} for n, (a, b) in enumerate(PHONES)]
        standing: list[_Bench] = []
        benches = max(1, min(BENCHES, entries // (2 * each)))
        while self._numbers["entries"] < entries:
            if len(standing) < benches:
                standing.append(self._begin(each))
            place = self._rng.randrange(len(standing))
            step = next(standing[place].steps, None)
            if step is None:
                standing.pop(place)
            else:
                self._do(standing[place], step)
            if len(self._rows["chain"]) >= AT_ONCE:
                self._write()
        self._write()
        with self._database.write() as c:
            _numbers_on(c)
            self._sums(c)
            if c.dialect.name == "postgresql":
                c.execute(text("ANALYZE"))  # as the server does by itself in a log that grows
        self._database.close()
        return self._numbers

    def _sums(self, c: Connection) -> None:
        """What the log keeps beside its rows."""
        count_all(c)
        keep_due(c)
        recount_words(c)
        c.execute(insert(batch_stages), [{"batch_id": n, "stage": s} for n, s in self._stages.items()])

    def _begin(self, each: int) -> _Bench:
        number = self._number("batches")
        hand_over = self._handed_over and number % HANDED_OVER_EVERY == 0
        name = f"Chloride {number}, bench {self._rng.randint(1, BENCHES)}"
        details = json_line({"zone": "UTC", "water": "tap", "alkalinity_mmol_l": 2.4})
        batch = {"id": number, "name": name, "opened_at": self._time(), "closed_at": None, "details": details}
        self._tie("batches", batch)
        self._event(batch, "opened", {"name": name})
        return _Bench(batch, course(self._rng, hand_over=hand_over, entries=each))

    def _do(self, bench: _Bench, step: Step) -> None:
        self._at += timedelta(minutes=MINUTES, seconds=self._rng.uniform(0, 60))
        if isinstance(step, Photo):
            self._photo(bench, step)
        elif isinstance(step, Written):
            data = step.data if step.of is None else {"note": bench.notes[step.of], **step.data}
            bench.notes.append(self._event(bench.batch, PREFIX + step.kind, data))
            if step.kind == "move":
                self._stages[bench.batch["id"]] = str(data["to"])
        elif isinstance(step, Closed):
            bench.batch = {**bench.batch, "closed_at": self._time()}
            self._closed.append({"number": bench.batch["id"], "at": bench.batch["closed_at"]})
            self._link("batches", bench.batch)
            self._event(bench.batch, "closed", {})

    def _photo(self, bench: _Bench, step: Photo) -> None:
        number, at = self._number("entries"), self._time()
        if step.of is None:
            content = f"photo {number} {self._rng.random()}".encode()
            sha256 = hashlib.sha256(content).hexdigest()
            self._keep(sha256, content)
            self._tie("photos", {"sha256": sha256, "size": len(content), "first_at": at})
            self._rows["photo_phones"].append({"photo_sha256": sha256, "phone_id": 1 + number % len(PHONES)})
        else:
            sha256 = bench.photos[step.of]
        reading = {**step.reading, "sha256": sha256, "software": "stripread 0.1.0"}
        said, value, low, high = self._text(step.reading, reading)
        row: dict[str, Any] = {
            "id": number, "batch_id": bench.batch["id"], "kind": reading["kind"],
            "origin": "photo" if step.of is None else "correction", "received_at": at, "snapped_at": None,
            "wash": step.wash, "note": step.note, "photo_sha256": sha256,
            "profile_sha256": PROFILE if reading["kind"] == "ph" else None, "software": reading["software"],
            "status": reading["status"], "value": value, "low": low, "high": high,
            "reading": said.replace(_HERE, sha256), "extras": _json(step.extras),
            "corrects_id": None if step.of is None else bench.entries[step.of],
            "made_by": None if step.of is None else "M.", "why": step.why,
        }  # fmt: skip
        self._tie("entries", row)
        if step.of is None:
            self._tie("keys", {"key": secrets.token_hex(16), "fingerprint": "f" * 64, "entry_id": number, "at": at})
        bench.entries.append(number)
        bench.photos.append(sha256)

    def _text(self, shape: dict[str, Any], reading: dict[str, Any]) -> _Text:
        """A reading as the log has it, with a place for its photo's hash: made once for all readings of a shape."""
        if id(shape) not in self._texts:
            figured = (None if figure is None else float(figure) for figure in figures(reading))
            self._texts[id(shape)] = (json_line({**reading, "sha256": _HERE}), *figured)
            self._shapes.append(shape)  # so that no other gets its place in memory
        return self._texts[id(shape)]

    def _keep(self, sha256: str, content: bytes) -> None:
        if self._folder is None:
            return
        place = self._folder / sha256[:2] / sha256
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(content)

    def _event(self, batch: dict[str, Any], what: str, detail: dict[str, Any]) -> int:
        number = self._number("events")
        row = {"id": number, "batch_id": batch["id"], "at": self._time(), "what": what, "detail": json_line(detail)}
        self._tie("events", row)
        return number

    def _tie(self, table: str, row: dict[str, Any]) -> None:
        self._rows[table].append(row)
        self._link(table, row)

    def _link(self, table: str, row: dict[str, Any]) -> None:
        content, key, n = content_hash(table, row), str(row[KEY[table]]), self._newest.n + 1
        # as link_hash has it, where no part needs an escape; the check of a filled log compares every link
        said = f'[{n},"{table}","{key}","{content}","{self._newest.link}"]'
        self._newest = Head(n, hashlib.sha256(said.encode()).hexdigest())
        link = {"n": n, "what": table, "row_key": key, "content": content, "link": self._newest.link, "detail": ""}
        self._rows["chain"].append(link)

    def _number(self, table: str) -> int:
        self._numbers[table] += 1
        return self._numbers[table]

    def _time(self) -> str:
        return self._at.isoformat(timespec="microseconds")

    def _write(self) -> None:
        with self._database.write() as c:
            for name in ORDER:
                rows = self._rows[name]
                if rows:
                    names = tuple(rows[0])
                    write_many(c, metadata.tables[name], [tuple(row[n] for n in names) for row in rows], names)
                    self._rows[name] = []
            if self._closed:
                closing = update(batches).where(batches.c.id == bindparam("number")).values(closed_at=bindparam("at"))
                c.execute(closing, self._closed)
                self._closed = []


def _json(extras: dict[str, Any]) -> str:
    return json.dumps(extras)  # as json_line has it, of what has no NaN


def _numbers_on(c: Connection) -> None:
    """PostgreSQL counts numbers by itself: it goes on after those that were given."""
    if c.dialect.name == "postgresql":
        for table in ("batches", "events", "entries", "phones"):
            c.execute(text(f"SELECT setval(pg_get_serial_sequence('{table}', 'id'), (SELECT max(id) FROM {table}))"))


def main() -> None:
    """Fill a log and say how long it took."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("data", type=Path)
    parser.add_argument("--entries", type=int, default=10_000)
    parser.add_argument("--batches", type=int, help="of so many batches; else of some 28 entries each")
    parser.add_argument("--database", help="SQLAlchemy URL of an empty database, else SQLite in the folder")
    parser.add_argument("--photos", action="store_true", help="with a small file for each photo")
    parser.add_argument("--never-handed-over", action="store_true", help="nobody writes that the vessel was emptied")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    given.data.mkdir(parents=True, exist_ok=True)
    url = given.database or f"sqlite:///{given.data / 'log.sqlite3'}"
    began = time.monotonic()
    filler = Filler(given.data, url, seed=given.seed, photos=given.photos, handed_over=not given.never_handed_over)
    each = 28 if given.batches is None else max(5, round(given.entries / given.batches))
    made = filler.fill(given.entries, each)
    print(f"{made} in {time.monotonic() - began:.1f} s")


if __name__ == "__main__":
    main()
