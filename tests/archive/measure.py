"""How well reading an archive again uses the cores, and what it costs: the demo's photos by the real reader.

python -m tests.archive.measure --photos 300

Occupied is the share of the workers' time, from the first to the last photo, in which they read: 1 is ideal, whoever
else the machine works for. Times of day are told with the machine's load.
"""

from __future__ import annotations

import argparse
import hashlib
import io
import os
import resource
import tempfile
import time
from contextlib import closing
from pathlib import Path

from service.log import store
from service.log.blobs import Blobs
from service.log.database import Database
from service.log.photos.place import blobs_of
from service.readers.archive.asked import Asked
from service.readers.archive.made import Made
from service.readers.archive.run import Archive, read_archive
from service.readers.archive.workers import OwnWorkers
from service.readers.photo_reader import PipelineReader
from stripread.results import SOFTWARE

DEMO = Path(__file__).resolve().parents[2] / "service" / "demo"


class Watched(Made):
    """Notes when each reading came, and how long its worker took over it."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.came: list[tuple[float, float]] = []

    def add(self, entry, outcome, why="missing"):
        self.came.append((time.monotonic(), outcome.reading["seconds"]))
        super().add(entry, outcome, why)


def a_log(data: Path, photos: int) -> Database:
    """The demo's photos of strips, each named many times by a comment segment of its own (ITU-T T.81, COM)."""
    data.mkdir(parents=True)
    database = Database(f"sqlite:///{data / 'log.sqlite3'}")
    database.migrate()
    text = (DEMO / "profile.toml").read_text(encoding="utf-8")
    kept = hashlib.sha256(text.encode()).hexdigest(), text
    shipped = [path.read_bytes() for path in sorted((DEMO / "photos").glob("*.jpg"))]
    blobs = Blobs(data / "photos")
    reading = {"photo": "a.jpg", "kind": "ph", "status": "ok", "ph": 7.0, "interval": [6.7, 7.3], "reasons": []}
    with database.write() as c:
        batch = 0
        for n in range(photos):
            if n % 28 == 0:
                batch = store.add_batch(c, f"batch {n}")
            photo, words = shipped[n % len(shipped)], str(n).encode()
            photo = photo[:2] + b"\xff\xfe" + (len(words) + 2).to_bytes(2, "big") + words + photo[2:]
            sha256, size = blobs.keep(io.BytesIO(photo))
            said = {**reading, "sha256": sha256, "software": SOFTWARE, "seconds": 0.1, "pads": []}
            store.add_entry(c, store.NewEntry(batch, "ph", "photo", sha256, size, said, wash=1, profile=kept))
    return database


def run(data: Path, database: Database, out: Path, workers: int) -> str:
    out.mkdir()
    made = Watched(out)
    with database.read() as c:
        asked = Asked(software=SOFTWARE, begun_at="2026-01-01T00:00:00+00:00", up_to=store.newest_entry(c), head="")
    made.begin(asked)
    own = time.process_time()
    readers = OwnWorkers(PipelineReader, workers, 60, None)
    with closing(blobs_of(data, reading=True)) as blobs, closing(readers):
        read_archive(Archive(database, blobs, out / "profiles"), asked, made, readers, lambda _done, _of: None)
    made.close()
    own = time.process_time() - own
    theirs = resource.getrusage(resource.RUSAGE_CHILDREN)
    first = made.came[0][0]
    later = made.came[workers:]
    elapsed = made.came[-1][0] - first
    read = sum(seconds for _at, seconds in later)
    return (
        f"{workers} workers: {len(later)} photos in {elapsed:.1f} s ({len(later) / elapsed:.1f} a second), occupied "
        f"{read / (workers * elapsed):.2f}; own processor time {1000 * own / len(made.came):.2f} ms a photo, "
        f"all workers so far {theirs.ru_utime + theirs.ru_stime:.1f} s"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--photos", type=int, default=300)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        database = a_log(Path(folder) / "data", args.photos)
        for workers in (1, 2):
            load = os.getloadavg()[0]
            print(run(Path(folder) / "data", database, Path(folder) / f"out{workers}", workers))
            print(f"   load before and after: {load:.1f}, {os.getloadavg()[0]:.1f}, of {os.cpu_count()} cores")
        database.close()


if __name__ == "__main__":
    main()
