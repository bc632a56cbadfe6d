"""What each request of the page costs as the log grows: median and 95th percentile, and the growth from size to size.

    python -m tests.scale_study --entries 1000 10000 100000 [--database postgresql+psycopg://…] [--times 30]

Each size is a log of its own (``tests.scale.fill``) behind a service of its own with the made-up reader. Every request
asks for another batch, drawn at random, so that what the service keeps in memory rarely helps. A database that is named
is emptied before each size.
"""

from __future__ import annotations

import argparse
import os
import random
import statistics
import tempfile
import time
import uuid
from collections.abc import Callable
from contextlib import nullcontext
from pathlib import Path

import httpx2 as httpx
from sqlalchemy import create_engine, text

from tests.scale.fill import Filler
from tests.server.conftest import a_photo
from tests.server.postgres import a_server
from tests.server.running import Running

EACH = 28  # entries of a batch
Row = tuple[float, float, float]  # median and 95th percentile, and the service's processor time, ms


class Asking:
    """The page's requests to one service, about batches drawn at random."""

    def __init__(self, client: httpx.Client, batches: int, seed: int = 7) -> None:
        self._client = client
        self._rng = random.Random(seed)
        self._batches = batches
        newest = client.get("/api/batches?limit=200").json()
        self._open = [row["id"] for row in newest if row["closed_at"] is None]

    def requests(self) -> dict[str, Callable[[], float]]:
        """Name -> one request of it; gives its ms."""
        return {
            "list of batches, a page": lambda: self._get("/api/batches?limit=50"),
            "list of batches, plain": lambda: self._get("/api/batches"),
            "one batch": lambda: self._get(f"/api/batches/{self._any()}"),
            "its stage and gate": lambda: self._get(f"/api/batches/{self._any()}/bench"),
            "its entries": lambda: self._get(f"/api/batches/{self._any()}/readings?after=0&limit=100"),
            "its timeline": lambda: self._get(f"/api/batches/{self._any()}/timeline?limit=30"),
            "its forecast": lambda: self._get(f"/api/batches/{self._any()}/forecast"),
            "the stock vessel": lambda: self._get("/api/stock"),
            "search, newest": lambda: self._get("/api/search"),
            "search, a usual word": lambda: self._get("/api/search?words=cloudy"),
            "search, a rare word": lambda: self._get(f"/api/search?words=Chloride {self._any()}"),
            "search, two words never together": lambda: self._get("/api/search?words=lower second"),
            "search, a seldom kind": lambda: self._get("/api/search?kind=emptied"),
            "search in a batch": lambda: self._get(f"/api/search?words=decant&batch={self._any()}"),
            "post a photo": self._photo,
            "post a note": lambda: self._note("used", {"what": "soda", "grams": 12.0}),
            "post a decant": lambda: self._note("decant", self._decant()),  # it moves silver
            "post a pouring": lambda: self._note("poured", {"what": "rinse", "litres": 0.5, "ph": 5.5}),
            "CSV, first byte": lambda: self._first_byte(f"/api/batches/{self._any()}/export.csv"),
        }

    def _any(self) -> int:
        return self._rng.randint(1, self._batches)

    def _get(self, path: str) -> float:
        began = time.perf_counter()
        self._client.get(path).raise_for_status()
        return 1000 * (time.perf_counter() - began)

    def _photo(self) -> float:
        photo, batch = a_photo(f"ph={self._rng.uniform(1, 7):.2f}"), self._rng.choice(self._open)
        files, headers = {"photo": ("a.jpg", photo, "image/jpeg")}, {"Idempotency-Key": uuid.uuid4().hex}
        began = time.perf_counter()
        answer = self._client.post(f"/api/batches/{batch}/readings", files=files, data={"wash": 9}, headers=headers)
        answer.raise_for_status()
        return 1000 * (time.perf_counter() - began)

    def _note(self, kind: str, data: dict[str, object]) -> float:
        batch, headers = self._rng.choice(self._open), {"Idempotency-Key": uuid.uuid4().hex}
        began = time.perf_counter()
        said = {"kind": kind, "data": data}
        self._client.post(f"/api/batches/{batch}/notes", json=said, headers=headers).raise_for_status()
        return 1000 * (time.perf_counter() - began)

    def _decant(self) -> dict[str, object]:
        return {"name": f"wash {self._rng.randint(10, 10**6)}", "litres": 0.5, "looks": "hazy"}

    def _first_byte(self, path: str) -> float:
        began = time.perf_counter()
        with self._client.stream("GET", path) as answer:
            coming = answer.iter_raw()
            next(coming)
            took = 1000 * (time.perf_counter() - began)
            for _ in coming:
                pass
        return took


def measured(
    data: Path, database: str | None, entries: int, times: int, *, handed_over: bool, only: str = ""
) -> dict[str, Row]:
    """Fill a log where there is none yet, serve it, ask: what each request took, by its name."""
    if database is not None:
        _emptied(database)
    made = _filled(data, database, entries, handed_over=handed_over)
    found: dict[str, Row] = {}
    options = {"database": database} if database else {}
    with Running(data.parent, data=data, **options) as server, httpx.Client(base_url=server.url, timeout=120) as client:
        asking = Asking(client, made)
        for name, ask in asking.requests().items():
            if only not in name:
                continue
            ask()  # what is loaded once
            spent = _spent(server.process.pid)
            took, until = [], time.monotonic() + 60
            while len(took) < times and (time.monotonic() < until or len(took) < 3):
                took.append(ask())
            high = max(took) if len(took) < 20 else statistics.quantiles(took, n=20)[-1]
            spent = (_spent(server.process.pid) - spent) / len(took)
            found[name] = statistics.median(took), high, spent
    return found


def _filled(data: Path, database: str | None, entries: int, *, handed_over: bool) -> int:
    """Fill the log, unless it was; gives how many batches it has."""
    began, spent = time.monotonic(), time.process_time()
    if database is None and (data / "log.sqlite3").exists():
        engine = create_engine(f"sqlite:///{data / 'log.sqlite3'}")
        with engine.connect() as c:
            return int(c.execute(text("SELECT max(id) FROM batches")).scalar_one())
    filler = Filler(data, database or f"sqlite:///{data / 'log.sqlite3'}", handed_over=handed_over)
    made = filler.fill(entries, EACH)
    if database is not None:  # what the server does by itself in time, and beside nobody's posts
        engine = create_engine(database, isolation_level="AUTOCOMMIT")
        with engine.connect() as c:
            c.execute(text("VACUUM ANALYZE"))
            c.execute(text("CHECKPOINT"))
        engine.dispose()
    took = f"{time.monotonic() - began:.0f} s, {time.process_time() - spent:.0f} s of processor time"
    print(f"{made['entries']:,} entries, {made['batches']:,} batches: {took}", flush=True)
    return made["batches"]


def table(found: dict[int, dict[str, Row]]) -> str:
    """The figures as a Markdown table: median / 95th percentile (processor time).

    Growth is from 10,000 entries, else from the first size, to the last.
    """
    sizes = list(found)
    lines = ["| asked, ms | " + " | ".join(f"{size:,} entries" for size in sizes) + " | growth |"]
    lines.append("|---" * (len(sizes) + 2) + "|")
    for name in found[sizes[0]]:
        rows = [found[size][name] for size in sizes]
        cells = [f"{middle:.0f} / {high:.0f} ({spent:.1f})" for middle, high, spent in rows]
        first = found.get(10_000, found[sizes[0]])[name]
        growth, of_spent = (rows[-1][n] / max(0.1, first[n]) for n in (0, 2))
        lines.append(f"| {name} | " + " | ".join(cells) + f" | {growth:.2f} ({of_spent:.2f}) |")
    return "\n".join(lines)


def _spent(pid: int) -> float:
    """Processor time of a process so far, ms: what a busy machine does beside it is not in it."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return 1000 * (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _emptied(url: str) -> None:
    engine = create_engine(url)
    with engine.begin() as c:
        c.execute(text("DROP SCHEMA public CASCADE"))
        c.execute(text("CREATE SCHEMA public"))
    engine.dispose()


def main() -> None:
    """Measure every size and print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--entries", type=int, nargs="+", default=[1000, 10_000, 100_000])
    parser.add_argument("--database", help="a PostgreSQL database that may be emptied; 'own' starts a server for it")
    parser.add_argument("--times", type=int, default=30)
    parser.add_argument("--never-handed-over", action="store_true", help="the stock vessel is never emptied")
    parser.add_argument("--only", default="", help="requests with these words in their names")
    parser.add_argument("--logs", type=Path, help="a folder to keep the SQLite logs in, filled once for many studies")
    given = parser.parse_args()
    found = {}
    with a_server() if given.database == "own" else nullcontext(given.database) as database:
        for size in given.entries:
            kept = None if given.logs is None else given.logs / str(size)
            with nullcontext(kept) if kept else tempfile.TemporaryDirectory(prefix="stripread-scale-") as root:
                data = Path(root) / "data"
                data.mkdir(parents=True, exist_ok=True)
                handed_over = not given.never_handed_over
                found[size] = measured(data, database, size, given.times, handed_over=handed_over, only=given.only)
            print(table(found), flush=True)


if __name__ == "__main__":
    main()
