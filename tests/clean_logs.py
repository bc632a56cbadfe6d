"""Clean logs are never blamed: random ones are made and checked, some of them taken up from the older form.

``python -m tests.clean_logs COUNT [SEED]``
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from service.log.check import LogCheck, check_log
from service.log.database import Database
from tests.log.made_logs import as_older_form, made_log

OLDER_EVERY = 10


def checked_log(folder: Path, seed: int) -> LogCheck:
    """What the check says of a random log that nobody has touched."""
    made = made_log(folder / "data", seed, steps_taken=5 + seed % 40)
    if seed % OLDER_EVERY == 0:
        older = as_older_form(made, folder / "older.sqlite3")
        older.migrate()
        older.close()
        made.database.close()
        for path in (folder / "data").glob("log.sqlite3*"):
            path.unlink()
        (folder / "older.sqlite3").replace(folder / "data" / "log.sqlite3")
        return _check(folder / "data", made_log(folder / "data", seed + 1, steps_taken=5).database)
    return _check(folder / "data", made.database)


def _check(data: Path, database: Database) -> LogCheck:
    database.close()
    copy = Database(f"sqlite:///{data / 'log.sqlite3'}", read_only=True)
    try:
        return check_log(copy, data)
    finally:
        copy.close()


def main(count: int, first: int) -> int:
    """Check ``count`` logs; the number of those that were blamed."""
    blamed = entries = links = 0
    for seed in range(first, first + count):
        with tempfile.TemporaryDirectory() as scratch:
            found = checked_log(Path(scratch), seed)
        entries, links = entries + found.entries, links + found.chain.links
        extra = (*found.faults, *found.orphans, *found.unfinished, *found.strays)
        if extra:
            blamed += 1
            print(f"seed {seed}: {extra}")
    print(f"{count} clean logs, {entries} entries, {links} links: {blamed} blamed")
    return blamed


if __name__ == "__main__":
    sys.exit(1 if main(int(sys.argv[1]), int((sys.argv[2:] or ["0"])[0])) else 0)
