"""A correction of a reading: judged anew where its wash number changes."""

from __future__ import annotations

from sqlalchemy import Connection

from service.errors import Conflict
from service.log import store
from service.log.chain.locks import one_of_batch
from service.log.correction import Correction, corrected_entry
from service.log.entries import shown
from service.log.taken import taken_times
from service.log.timeline.asked import asked_about
from stripread.words import _


def correct_entry(c: Connection, number: int, said: Correction) -> store.Row:
    """Correct entry ``number``; gives the new entry as JSON.

    Raises
    ------
    ServiceError
        ``NotFound`` without such an entry, ``Conflict`` where it was corrected already, ``WrongStatement`` where the
        correction changes nothing.
    """
    old = store.known_entry(c, number)
    one_of_batch(c, old["batch_id"])
    newer = store.corrector(c, number)
    if newer is not None:
        raise Conflict(
            "already_corrected", _("This entry was corrected by entry {newer}. Correct that one.", newer=str(newer))
        )
    before = store.entry(c, old["corrects_id"]) if old["corrects_id"] is not None else None
    new = corrected_entry(old, said, store.photo_size(c, old["photo_sha256"]), _profile(c, old), before)
    if said.wash is not None and new.wash != old["wash"] and not said.confirm and not said.withdraw:
        new.extras.pop("asked", None)
        asked = asked_about(c, new, _taken(c, old), number)
        new.extras.update({"asked": asked} if asked else {})
    made = store.add_entry(c, new)
    return shown(store.known_entry(c, made), None)


def _taken(c: Connection, old: store.Row) -> str:
    """When the photo was taken: its first entry knows."""
    rows = [old]
    while rows[0]["corrects_id"] is not None:
        rows.insert(0, store.known_entry(c, rows[0]["corrects_id"]))
    batch = store.known_batch(c, old["batch_id"])
    return taken_times(rows, batch["opened_at"], batch["zone"])[old["id"]]


def _profile(c: Connection, row: store.Row) -> tuple[str, str] | None:
    if row["profile_sha256"] is None:
        return None
    text = store.profile_text(c, row["profile_sha256"])
    return None if text is None else (row["profile_sha256"], text)
