"""What an archive's new readings changed, added to the log as entries that correct the old ones; each once."""

from __future__ import annotations

from service.log import store
from service.log.database import Database
from service.readers.archive.asked import Asked
from service.readers.archive.made import Made
from service.readers.reread import correct, differences
from service.readers.worker import Outcome


def keep_changes(database: Database, asked: Asked, made: Made, profile: str | None) -> int:
    """Add an entry for each reading that came out otherwise; how many. One that was corrected meanwhile stays.

    ``profile``: text of the profile that was read with instead of that of then.
    """
    added = 0
    other = None if profile is None or asked.profile is None else (asked.profile, profile)
    for line in made.lines():
        if "reading" not in line:
            continue
        with database.read() as c:
            row = store.entry(c, line["entry"])
        if row is None or not differences(row["reading"], line["reading"]):
            continue
        outcome = Outcome({**line["reading"], "seconds": 0.0}, line["curve"])
        if correct(database, row, outcome, made_by=asked.software, profile=other) is not None:
            added += 1  # else it was, by an earlier run or by somebody
    return added
