"""A correction of a reading: judged anew where its wash number changes, logged once however often it is sent."""

from __future__ import annotations

import hashlib

from sqlalchemy import Connection

from service.errors import Conflict, WrongStatement
from service.log import store
from service.log.correction import Correction, corrected_entry
from service.log.entries import shown
from service.log.taken import taken_times
from service.log.timeline.asked import asked_about


def correct_entry(c: Connection, number: int, said: Correction, key: str | None = None) -> tuple[store.Row, bool]:
    """Correct entry ``number``; the new entry as JSON, and whether it was there before by this ``key``.

    Raises
    ------
    ServiceError
        ``NotFound`` without such an entry, ``Conflict`` where it was corrected already, ``WrongStatement`` where the
        correction changes nothing or the key was used for something else.
    """
    store.claim(c)
    print_of = hashlib.sha256(f"correction {number} {said.model_dump_json()}".encode()).hexdigest()
    known = store.key_of(c, key) if key else None
    if known is not None:
        if known["fingerprint"] != print_of:
            raise WrongStatement("key_reused", "This Idempotency-Key was used for something else. Use a new one.")
        return shown(store.known_entry(c, known["entry_id"]), store.corrector(c, known["entry_id"])), True
    old = store.known_entry(c, number)
    newer = store.corrector(c, number)
    if newer is not None:
        raise Conflict("already_corrected", f"This entry was corrected by entry {newer}. Correct that one.")
    before = store.entry(c, old["corrects_id"]) if old["corrects_id"] is not None else None
    new = corrected_entry(old, said, store.photo_size(c, old["photo_sha256"]), _profile(c, old), before)
    if said.wash is not None and new.wash != old["wash"] and not said.confirm and not said.withdraw:
        new.extras.pop("asked", None)
        asked = asked_about(c, new, _taken(c, old), number)
        new.extras.update({"asked": asked} if asked else {})
    made = store.add_entry(c, new, (key, print_of) if key else None)
    return shown(store.known_entry(c, made), None), False


def _taken(c: Connection, old: store.Row) -> str:
    """When the photo was taken: its first entry knows."""
    rows = [old]
    while rows[0]["corrects_id"] is not None:
        rows.insert(0, store.known_entry(c, rows[0]["corrects_id"]))
    return taken_times(rows, store.known_batch(c, old["batch_id"])["opened_at"])[old["id"]]


def _profile(c: Connection, row: store.Row) -> tuple[str, str] | None:
    if row["profile_sha256"] is None:
        return None
    text = store.profile_text(c, row["profile_sha256"])
    return None if text is None else (row["profile_sha256"], text)
