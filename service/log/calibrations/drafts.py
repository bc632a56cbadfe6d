"""Drafts: a strip kind, its photos at known pH, and fields of the maker's chart. Nothing is lost when a phone goes."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, func, insert, select, update

from service.errors import Conflict, NotFound
from service.log.calibrations.kept import keep_photo
from service.log.models import calibration_photos, calibrations, now
from stripread.json_line import json_line
from stripread.words import _

Row = dict[str, Any]
MOST_PHOTOS = 200  # of one draft: forty liquids in five lights


@dataclass(frozen=True)
class NewPhoto:
    """A photo that could be read, with its liquid: pH and its sd, temperature in °C. ``seen``: what was found in it."""

    sha256: str
    size: int
    file: str
    liquid: str
    ph: float
    ph_sd: float
    temperature_c: float | None = None
    light: str = ""
    seen: Row = field(default_factory=dict)


def add_calibration(c: Connection, name: str, kind: Row) -> int:
    """Begin a draft for a strip kind, as ``StripKind.to_dict`` gives it; its number."""
    values = {"name": name, "kind": json_line(kind), "made_at": now()}
    return int(c.execute(insert(calibrations).values(**values).returning(calibrations.c.id)).scalar_one())


def all_calibrations(c: Connection) -> list[Row]:
    """Every draft that is not closed, newest first, with how many photos it has."""
    counted = (
        select(func.count())
        .where(calibration_photos.c.calibration_id == calibrations.c.id, calibration_photos.c.removed_at.is_(None))
        .scalar_subquery()
    )
    query = select(calibrations, counted.label("photos")).where(calibrations.c.closed_at.is_(None))
    return [_draft(dict(row)) for row in c.execute(query.order_by(calibrations.c.id.desc())).mappings()]


def known_calibration(c: Connection, number: int) -> Row:
    """A draft that must exist.

    Raises
    ------
    NotFound
        If it does not.
    """
    row = c.execute(select(calibrations).where(calibrations.c.id == number)).mappings().one_or_none()
    if row is None:
        raise NotFound("no_such_calibration", _("There is no calibration {number}.", number=number))
    return _draft(dict(row))


def open_calibration(c: Connection, number: int) -> Row:
    """A draft that must exist and take changes.

    Raises
    ------
    NotFound, Conflict
        If there is none, or it was put away.
    """
    draft = known_calibration(c, number)
    if draft["closed_at"] is not None:
        raise Conflict("calibration_closed", _("This calibration was put away. Start a new one."))
    return draft


def close_calibration(c: Connection, number: int) -> None:
    """Put a draft away; its photos and the profiles that came of it stay."""
    known_calibration(c, number)
    still = calibrations.c.closed_at.is_(None)
    c.execute(update(calibrations).where(calibrations.c.id == number, still).values(closed_at=now()))


def photos_of(c: Connection, number: int) -> list[Row]:
    """The photos of a draft that were not taken out, in their order."""
    query = (
        select(calibration_photos)
        .where(calibration_photos.c.calibration_id == number, calibration_photos.c.removed_at.is_(None))
        .order_by(calibration_photos.c.id)
    )
    return [{**row, "seen": json.loads(row["seen"])} for row in c.execute(query).mappings()]


def add_photo(c: Connection, number: int, new: NewPhoto) -> Row:
    """Put a photo into a draft.

    Raises
    ------
    NotFound, Conflict
        If there is no such draft, it was put away or is full, or has this very photo.
    """
    open_calibration(c, number)
    there = photos_of(c, number)
    for other in there:
        if other["photo_sha256"] == new.sha256:
            raise Conflict(
                "photo_there",
                _(
                    "This photo is in the calibration already, as {liquid}. Take it out first if that is wrong.",
                    liquid=other["liquid"],
                ),
            )
    if len(there) >= MOST_PHOTOS:
        raise Conflict("too_many_photos", _("A calibration takes {n} photos at most.", n=MOST_PHOTOS))
    keep_photo(c, new.sha256, new.size)
    values = {
        "calibration_id": number,
        "photo_sha256": new.sha256,
        "file": new.file,
        "liquid": new.liquid,
        "temperature_c": new.temperature_c,
        "ph": new.ph,
        "ph_sd": new.ph_sd,
        "light": new.light,
        "seen": json_line(new.seen),
        "added_at": now(),
    }
    added = int(c.execute(insert(calibration_photos).values(**values).returning(calibration_photos.c.id)).scalar_one())
    return {"id": added, **values, "seen": new.seen, "removed_at": None}


def remove_photo(c: Connection, number: int, photo: int) -> None:
    """Take a photo out of a draft; one that was taken out already stays out.

    Raises
    ------
    NotFound
        If the draft never had it.
    """
    open_calibration(c, number)
    of = (calibration_photos.c.id == photo) & (calibration_photos.c.calibration_id == number)
    if c.execute(select(calibration_photos.c.id).where(of)).first() is None:
        raise NotFound("no_such_photo", _("There is no photo {photo} in this calibration.", photo=photo))
    c.execute(update(calibration_photos).where(of, calibration_photos.c.removed_at.is_(None)).values(removed_at=now()))


def set_chart(c: Connection, number: int, fields: list[Row]) -> None:
    """The maker's chart of a draft, in the place of an earlier one; none for an empty list."""
    open_calibration(c, number)
    c.execute(update(calibrations).where(calibrations.c.id == number).values(chart=json_line(fields)))


def _draft(row: Row) -> Row:
    return {**row, "kind": json.loads(row["kind"]), "chart": json.loads(row["chart"])}
