"""Seconds, size and memory of a back-up and its restore, each in a process of its own, and whether all came back.

python -m tests.backup_study --entries 2000 --bytes 60000
"""

import argparse
import hashlib
import os
import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
AT_ONCE = 50  # entries in one transaction


def make(data: Path, entries: int, size: int) -> None:
    """A log with as many entries, each with a photo of its own of ``size`` bytes, by a quarter more or less."""
    from service.log import store
    from service.log.blobs import Blobs
    from service.log.database import Database
    from tests.log.conftest import add_reading

    rng = random.Random(1)
    Blobs(data / "photos")
    database = Database(f"sqlite:///{data / 'log.sqlite3'}")
    database.migrate()
    with database.write() as c:
        store.add_batch(c, "b")
    for first in range(0, entries, AT_ONCE):
        with database.write() as c:
            for number in range(first, min(entries, first + AT_ONCE)):
                photo = rng.randbytes(size + rng.randint(-size // 4, size // 4))
                add_reading(c, data, 1, rng.uniform(1, 9), key=f"key {number}", photo=photo)
    database.close()


def run(*args: object) -> str:
    """Run a command of the log; gives its seconds and its own peak memory."""
    call = [sys.executable, "-m", "service.cli", "log", *map(str, args)]
    began = time.monotonic()
    # spawned, not forked: a fork would begin with this process's own memory as its peak
    process = os.posix_spawn(sys.executable, call, {**os.environ, "PYTHONPATH": str(ROOT)})
    _, status, used = os.wait4(process, 0)
    assert os.waitstatus_to_exitcode(status) == 0, args
    seconds, spent = time.monotonic() - began, used.ru_utime + used.ru_stime
    return f"{seconds:.1f} s ({spent:.1f} s of processor time), {used.ru_maxrss / 1024:.0f} MB at most"


def photos(data: Path) -> dict[str, str]:
    """Name and hash of each photo in a folder."""
    found = sorted(path for path in (data / "photos").rglob("*") if path.is_file())
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in found}


def main() -> None:
    """Make a log, back it up, restore it, compare, print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--entries", type=int, default=2000)
    parser.add_argument("--bytes", type=int, default=60_000, help="of a photo")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as root:
        data, file, to = Path(root) / "data", Path(root) / "b.tar", Path(root) / "to"
        making = f"from pathlib import Path; from tests.backup_study import make; make(Path({str(data)!r}), "
        subprocess.run([sys.executable, "-c", f"{making}{given.entries}, {given.bytes})"], cwd=ROOT, check=True)
        print("back-up:", run("backup", file, "--data", data))
        print("restore:", run("restore", file, "--to", to))
        there, back = photos(data), photos(to)
        print(f"{file.stat().st_size:,} bytes; {len(back)} photos, all as they were: {there == back}")


if __name__ == "__main__":
    main()
