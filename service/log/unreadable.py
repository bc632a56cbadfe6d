"""Rows of the log that can't be read: how one is told, and what stands in its place, so that the rest is served."""

from __future__ import annotations

import json
from datetime import datetime
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, ValidationError

from service.bench.readings import logged
from stripread.words import N_, _, say

Row = dict[str, Any]
CODE = "unreadable_row"
LOST = "lost"  # among a stand-in's extras: what was said beside the photo can't be read
_WHAT_TO_DO = N_(
    "`stripread log check` says more; `stripread reread BATCH --keep` reads its photo again, as "
    "a new entry, where what was said beside it can still be read; where not, add the photo "
    "again with all that is known."
)


class _Blank(BaseModel):
    entry: int
    sha256: str


class KeptCells(BaseModel):
    """The photo of a pair of vials that a tint was read with, as the log keeps it beside the reading."""

    model_config = ConfigDict(frozen=True)

    entry: int
    sha256: str
    photo: str
    matching: Literal["blank", "swapped"]
    age_h: float | None
    changed: bool


class _Extras(BaseModel):
    """What an entry's ``extras`` must be, as far as lists and gates look into it."""

    model_config = ConfigDict(strict=True, extra="allow")

    said: dict[str, Any] = {}
    blank: _Blank | None = None
    cells: KeptCells | None = None
    taking: dict[str, Any] = {}
    colours: list[Any] = []
    withdrawn: bool = False
    by_hand: bool = False
    asked: list[dict[str, Any]] = []  # what has to be answered before it counts


class _Columns(BaseModel):
    """What an entry's own columns must be: SQLite would hold any type in any of them."""

    model_config = ConfigDict(strict=True)

    id: int
    kind: str
    wash: int | None = None
    value: float | None = None
    low: float | None = None
    high: float | None = None
    note: str = ""
    snapped_at: str | None = None
    corrects_id: int | None = None


def read_row(row: Row) -> Row:
    """An entry with its JSON read. One that can't be is marked: ``unreadable`` says why, its reading is refused."""
    try:
        _Columns.model_validate(row)
        if datetime.fromisoformat(row["received_at"]).tzinfo is None:
            raise ValueError(_("the time has no zone"))
        reading, extras = json.loads(row["reading"]), json.loads(row["extras"])
        if logged(reading).kind != row["kind"] or not {"photo", "reasons"} <= set(reading):
            raise ValueError(_("the reading is of another kind"))
        _Extras.model_validate(extras)
    except (ValueError, TypeError, KeyError, ValidationError, RecursionError):
        return _stand_in(row)
    return {**row, "reading": reading, "extras": extras}


def json_object(text: object) -> Row:
    """The JSON object of a batch's details or an event; one that can't be read is empty but for its mark."""
    try:
        found = json.loads(str(text))
    except (ValueError, RecursionError):
        found = None
    return found if isinstance(found, dict) else {"unreadable": True}


def readable(rows: list[Row]) -> list[Row]:
    """Those that could be read."""
    return [row for row in rows if not row.get("unreadable")]


def _stand_in(row: Row) -> Row:
    number = row["id"]
    message = _(
        "Row {number} of the log is damaged and can't be read: nothing in it counts. {what_to_do}",
        number=number,
        what_to_do=say(_WHAT_TO_DO),
    )
    kind = row["kind"] if row["kind"] in _VALUES else "ph"
    reading = {
        "photo": "",
        "kind": kind,
        "status": "refused",
        **_VALUES[kind],
        "reasons": [{"code": CODE, "severity": "refuse", "message": message}],
        "sha256": str(row.get("photo_sha256", "")),
        "software": str(row.get("software", "")),
        "seconds": 0.0,
    }
    lost = row["kind"] not in _VALUES
    marks = {
        "kind_lost": lost,
        "kind": kind,
        "status": "refused",
        "value": None,
        "low": None,
        "high": None,
        "unreadable": True,
    }
    plain = {
        "received_at": _time(row["received_at"]),
        "wash": row["wash"] if isinstance(row["wash"], int) else None,
        "note": str(row.get("note", "")),
        "snapped_at": None,
        "corrects_id": row["corrects_id"] if isinstance(row["corrects_id"], int) else None,
    }
    return {**row, **plain, **marks, "reading": reading, "extras": _kept_extras(row["extras"])}


def _kept_extras(text: object) -> Row:
    """What was said beside the photo, where only the rest of the row is damaged; else empty but for its mark.

    Reading such a photo again must not guess path, dilution or blank: see ``rereadable``.
    """
    try:
        found = json.loads(str(text))
        _Extras.model_validate(found)
    except (ValueError, TypeError, ValidationError, RecursionError):
        return {LOST: True}
    return dict(found)


def rereadable(row: Row) -> bool:
    """Whether kind and what was said beside the photo are known, so that it can be read as it was."""
    return not row["extras"].get(LOST) and not row.get("kind_lost", False)


_VALUES: dict[str, Row] = {
    "ph": {"ph": None, "interval": None, "level": 0.95, "alternatives": [], "pads": [], "misfit": None, "profile": ""},
    "tint": {
        "decision": "undecided",
        "absorbance": None,
        "absorbance_interval": None,
        "delta_e": None,
        "mg_per_l": None,
        "interval": None,
        "detection_limit": None,
        "level": 0.95,
    },
    "solid": {"lab": None, "sd": None, "pale_fraction": None, "pale_interval": None},
    "cells": {"matching": "blank", "ratio": None, "ratio_sd": None},
}


def _time(found: object) -> str:
    try:
        if isinstance(found, str) and datetime.fromisoformat(found).tzinfo is not None:
            return found
    except ValueError:
        pass
    return "1970-01-01T00:00:00.000000+00:00"  # before all others: nothing that counts goes by it
