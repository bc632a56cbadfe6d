"""The rinse water's own reading, which a strip is compared with: by the number of its entry."""

from __future__ import annotations

from sqlalchemy import Connection

from service.errors import Conflict
from service.log import store
from stripread.words import _


def blank_of(c: Connection, batch_id: int, number: int) -> store.Row:
    """The entry of the rinse water itself.

    Raises
    ------
    Conflict
        If it is no pH reading of this batch.
    """
    row = store.entry(c, number)
    if row is None or row["batch_id"] != batch_id or row["kind"] != "ph":
        raise Conflict("not_a_blank", _("The blank must be a pH reading of this batch."))
    return row


def blank_kept(row: store.Row | None) -> store.Row:
    """What the log keeps of it beside a reading, to read again in the same way; nothing without one."""
    if row is None:
        return {}
    return {"blank": {"entry": row["id"], "sha256": row["photo_sha256"], "photo": str(row["reading"]["photo"])}}
