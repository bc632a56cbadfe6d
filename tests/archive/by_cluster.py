"""An archive read again by a local cluster of two workers, its photos in a store.

    python -m tests.archive.by_cluster --entries 100000 [--real] [--store s3|file] [--seconds 600]

A few hundred distinct photos (the demo's, each with a comment of its own) are named many times. Without ``--real`` a
stand-in reader hashes each photo and gives a fixed reading, so that what is left is the machinery: log, scheduler,
the store, chunks, report. The store is moto's S3, or a folder by its ``file://`` URL. What is not read after so many
seconds is left, and said.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import io
import logging
import os
import tempfile
import time
from pathlib import Path

from sqlalchemy import func, insert, select

from service.commands.log_care.reread_archive import Wanted, reread_archive
from service.log import store
from service.log.blobs import Blobs
from service.log.database import Database
from service.log.models import batches, entries
from service.log.photos.place import blobs_of, use_store
from service.readers.archive.made import NAME
from service.readers.photo_reader import PipelineReader
from service.settings import Settings
from stripread.results import SOFTWARE
from tests.cluster.test_cluster import Cluster
from tests.photos.conftest import Bucket
from tests.server.fake_reader import FakeReader

DEMO = Path(__file__).resolve().parents[2] / "service" / "demo"
EACH = 28  # entries of a batch


def a_log(data: Path, many: int, distinct: int) -> Settings:
    """A log of so many entries of so many photos. Copies of rows have no links: reading again asks for none."""
    data.mkdir(parents=True)
    settings = Settings(data)
    database = Database(settings.database_url)
    database.migrate()
    text = (DEMO / "profile.toml").read_text(encoding="utf-8")
    kept = hashlib.sha256(text.encode()).hexdigest(), text
    shipped = [path.read_bytes() for path in sorted((DEMO / "photos").glob("*.jpg"))]
    said = {"photo": "a.jpg", "kind": "ph", "status": "ok", "ph": 7.0, "interval": [6.7, 7.3], "reasons": []}
    blobs = Blobs(data / "photos")
    with database.write() as c:
        first = store.add_batch(c, "first")
        for n in range(min(distinct, many)):
            words = str(n).encode()
            photo = shipped[n % len(shipped)]
            photo = photo[:2] + b"\xff\xfe" + (len(words) + 2).to_bytes(2, "big") + words + photo[2:]
            sha256, size = blobs.keep(io.BytesIO(photo))
            reading = {**said, "sha256": sha256, "software": SOFTWARE, "seconds": 0.1, "pads": []}
            store.add_entry(c, store.NewEntry(first, "ph", "photo", sha256, size, reading, wash=1, profile=kept))
        rows = [dict(row) for row in c.execute(select(entries)).mappings()]
        made = c.execute(select(batches)).mappings().one()
        copies = range(2, 2 + (many - len(rows)) // EACH + 1)
        c.execute(insert(batches), [{**made, "id": n} for n in copies])
        more = (
            {**rows[n % len(rows)], "id": n + 1, "batch_id": 2 + (n - len(rows)) // EACH}
            for n in range(len(rows), many)
        )
        while some := [row for _n, row in zip(range(5000), more, strict=False)]:
            c.execute(insert(entries), some)
    with database.read() as c:
        print(f"{c.execute(select(func.count()).select_from(entries)).scalar_one():,} entries, {len(rows)} photos")
    database.close()
    return settings


class _Watched(Cluster):
    """Tells what processor time its processes took."""

    def spent(self) -> tuple[float, float]:
        """Of the scheduler, and of the workers, in s."""
        return _spent(self._scheduler.pid), sum(_spent(worker.pid) for worker in self.workers)


def _spent(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--entries", type=int, default=2000)
    parser.add_argument("--photos", type=int, default=300)
    parser.add_argument("--real", action="store_true")
    parser.add_argument("--store", choices=("s3", "file"), default="s3")
    parser.add_argument("--seconds", type=float, default=1e9)
    given = parser.parse_args()
    logging.getLogger("werkzeug").setLevel(logging.ERROR)
    with tempfile.TemporaryDirectory() as root, contextlib.ExitStack() as ended:
        folder = Path(root)
        settings = a_log(folder / "data", given.entries, given.photos)
        if given.store == "s3":
            bucket = Bucket("photos")
            ended.callback(bucket.away)
            keys = {"AWS_ACCESS_KEY_ID": "k", "AWS_SECRET_ACCESS_KEY": "s"}
            os.environ |= {"FSSPEC_S3_ENDPOINT_URL": bucket.address, **keys}
        url = bucket.url if given.store == "s3" else f"file://{folder / 'store'}"
        use_store(settings.data, url)
        blobs_of(settings.data).send()
        for photo in (settings.data / "photos").glob("??/*"):
            photo.unlink()
        cluster = _Watched()
        ended.callback(cluster.end)
        cluster.work()
        cluster.work()
        cluster.wait(2)
        settings = Settings(settings.data, reader=PipelineReader if given.real else FakeReader)
        wanted = Wanted((), None, None, folder / "out", False, 2, cluster.url)
        _run(settings, wanted, cluster, given)


def _run(settings: Settings, wanted: Wanted, cluster: _Watched, given: argparse.Namespace) -> None:
    from signal import SIGINT, raise_signal
    from threading import Event, Thread

    done = Event()
    load, began, own, before = os.getloadavg()[0], time.monotonic(), time.process_time(), cluster.spent()
    Thread(target=lambda: done.wait(given.seconds) or raise_signal(SIGINT), daemon=True).start()
    stopped = ""
    try:
        with contextlib.redirect_stdout(io.StringIO()):
            reread_archive(settings, wanted, as_json=True)
    except Exception as problem:  # stopped in time
        stopped = str(problem)
    done.set()
    took, own, after = time.monotonic() - began, time.process_time() - own, cluster.spent()
    read = len((wanted.out / NAME).read_bytes().splitlines()) - 1
    each = [1000 * spent / max(1, read) for spent in (own, after[0] - before[0], after[1] - before[1])]
    what = "the real reader" if given.real else "the stand-in reader"
    print(
        f"{what}, {given.store} store: {read:,} of {given.entries:,} in {took:.0f} s "
        f"({read / took:.1f} a second) {stopped}"
    )
    print(f"  processor time a photo, ms: command{' and moto' if given.store == 's3' else ''} {each[0]:.2f}, ", end="")
    print(f"scheduler {each[1]:.2f}, workers {each[2]:.2f}; load {load:.1f} to {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
