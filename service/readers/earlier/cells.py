"""The photo that measures a tint's pair of vials: by the number of its entry, and how old it is by the log."""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from sqlalchemy import Connection

from service.errors import Conflict
from service.log import store
from service.log.blobs import Blobs
from service.log.models import now
from service.log.taken import taken_at
from service.log.unreadable import KeptCells
from service.readers.worker import CellsPhoto
from stripread.words import _


class NamedCells(KeptCells):
    """The photo of the vials that a tint names.

    ``entry`` is the number that was named, ``sha256`` and ``photo`` are the photo's hash and name. ``age_h``: hours
    between the two photos by the log, None where nobody said when the tint was taken. ``changed``: vials or places were
    changed since, as somebody says.
    """

    def kept(self) -> store.Row:
        """For the log: with it the tint can be read again in the same way."""
        return {"cells": self.model_dump()}

    def job(self, blobs: Blobs) -> CellsPhoto:
        """For the reader."""
        return CellsPhoto(blobs.here(self.sha256), self.matching, self.age_h, self.changed)


def cells_of(
    c: Connection, batch_id: int, number: int, *, snapped_at: str | None, own_time: bool, changed: bool
) -> NamedCells:
    """The photo of the vials in an entry of this batch, or in what corrects it.

    ``snapped_at`` is when the tint was taken, as its sender says; with ``own_time`` and without it only the photos'
    own times can tell.

    Raises
    ------
    Conflict
        If it is no such photo of this batch, was withdrawn, or could not be read.
    """
    row = store.entry(c, number)
    if row is None or row["batch_id"] != batch_id or row["kind"] != "cells" or row.get("unreadable"):
        raise Conflict(
            "not_cells",
            _(
                "Entry {number} is no photo of a pair of vials in this batch: log a cell blank and name that.",
                number=number,
            ),
        )
    newest = row
    while (later := store.corrector(c, newest["id"])) is not None and later > newest["id"]:
        newest = store.known_entry(c, later)
    if newest["extras"].get("withdrawn"):
        raise Conflict(
            "not_cells",
            _("Entry {number} was withdrawn: log a new cell blank, or send the tint without it.", number=number),
        )
    if newest["reading"]["status"] == "refused":
        raise Conflict(
            "not_cells",
            _("Entry {number} could not be read: log a new cell blank, or send the tint without it.", number=number),
        )
    opened = store.known_batch(c, batch_id)["opened_at"]
    age = None
    if snapped_at is not None or not own_time:
        first = row["moment"].at
        age = _hours(first, taken_at(now(), snapped_at, opened))
    matching: Literal["blank", "swapped"] = (
        "swapped" if row["extras"].get("taking", {}).get("matching") == "swapped" else "blank"
    )
    return NamedCells(
        entry=number,
        sha256=row["photo_sha256"],
        photo=str(row["reading"]["photo"]),
        matching=matching,
        age_h=age,
        changed=changed,
    )


def cells_again(row: store.Row) -> NamedCells | None:
    """The photo of the vials that an entry of the log was read with."""
    kept = row["extras"].get("cells")
    return None if kept is None else NamedCells.model_validate(kept)


def _hours(one: str, other: str) -> float:
    apart = datetime.fromisoformat(other) - datetime.fromisoformat(one)
    return round(abs(apart.total_seconds()) / 3600.0, 4)
