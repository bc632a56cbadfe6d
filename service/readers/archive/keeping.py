"""What an archive's new readings changed, added to the log as entries that correct the old ones; each once."""

from __future__ import annotations

from service.log import store
from service.log.chain.locks import one_of_batch
from service.log.database import Database
from service.readers.archive.asked import Asked
from service.readers.archive.made import Made
from service.readers.reread import differences
from service.readers.swatches import swatches
from service.readers.worker import Outcome


def keep_changes(database: Database, asked: Asked, made: Made, profile: str | None) -> int:
    """Add an entry for each reading that came out otherwise; how many. One that was corrected meanwhile stays.

    ``profile``: text of the profile that was read with instead of that of then.
    """
    added = 0
    for line in made.lines():
        if "reading" not in line:
            continue
        with database.read() as c:
            row = store.entry(c, line["entry"])
        if row is None or not (changed := differences(row["reading"], line["reading"])):
            continue
        outcome = Outcome({**line["reading"], "seconds": 0.0}, line["curve"])
        added += _keep(database, asked, row, outcome, (changed, profile))
    return added


def _keep(
    database: Database, asked: Asked, row: store.Row, outcome: Outcome, said: tuple[list[str], str | None]
) -> bool:
    changed, profile = said
    with database.write() as c:
        one_of_batch(c, row["batch_id"])
        if store.corrector(c, row["id"]) is not None:
            return False  # by an earlier run, or by somebody: theirs counts
        sha256 = asked.profile or row["profile_sha256"]
        text = profile or (store.profile_text(c, sha256) if sha256 else None)
        new = store.NewEntry(
            batch_id=row["batch_id"],
            kind=row["kind"],
            origin="reread",
            photo_sha256=row["photo_sha256"],
            photo_size=store.photo_size(c, row["photo_sha256"]),
            reading=outcome.reading,
            wash=row["wash"],
            note=row["note"],
            snapped_at=row["snapped_at"],
            profile=(sha256, text) if sha256 and text is not None else None,
            extras={**row["extras"], "colours": swatches(outcome)},
            corrects_id=row["id"],
            made_by=asked.software,
            why=f"read again: {', '.join(changed)} changed",
        )
        store.add_entry(c, new)
        return True
