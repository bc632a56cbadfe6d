"""The log's SQL in plain functions: a connection and values in, rows as dictionaries out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, bindparam, func, insert, select, update

from service.errors import BenchBusy, NotFound
from service.log.aside.phones import Camera, keep_phone
from service.log.aside.sums import count_batch, count_entry
from service.log.benches.asking import Asked, asks, of_nobody_else, only_own, own_batches, own_key
from service.log.benches.owners import BENCH, GIVEN, KEEPER, OPENED, owner_of, set_owner, words_of
from service.log.chain.links import append
from service.log.chain.locks import one_of_batch, one_writer
from service.log.models import (
    batch_benches,
    batch_sums,
    batches,
    benches,
    entries,
    events,
    keys,
    now,
    phones,
    photo_phones,
    photos,
    profiles,
)
from service.log.search_words.rows import keep_batch, keep_entry, keep_event
from service.log.taken import moment_of
from service.log.unreadable import json_object, read_row
from service.moments import Moment, server_zone, zone_or_utc
from stripread.json_line import json_line
from stripread.words import _

Row = dict[str, Any]
_IN_ONE = 500  # values in one statement
ZONE = "zone"  # in a batch's details: the IANA name of where it is

# What every photo asks, built once: building a statement costs several times what running it does.
_STATE = select(batches).where(batches.c.id == bindparam("number"))
_OF_BENCH = batches.outerjoin(batch_benches, batch_benches.c.batch_id == batches.c.id).outerjoin(benches)
_NAMED = select(batches, benches.c.name.label("bench"))
_BATCH = Asked(_NAMED.select_from(_OF_BENCH).where(batches.c.id == bindparam("number")), batches.c.id)
_ENTRIES = (  # each with the phone that took its photo
    select(entries, photo_phones.c.phone_id, phones.c.make, phones.c.model, phones.c.name.label("phone_name"))
    .outerjoin(photo_phones, photo_phones.c.photo_sha256 == entries.c.photo_sha256)
    .outerjoin(phones, phones.c.id == photo_phones.c.phone_id)
)
_ANY_ENTRY = _ENTRIES.where(entries.c.id == bindparam("number"))
_ENTRY = Asked(_ANY_ENTRY, entries.c.batch_id)
_KEY = select(keys).where(keys.c.key == bindparam("key"))
_PHOTO = select(photos.c.sha256).where(photos.c.sha256 == bindparam("sha256"))
_PROFILE = select(profiles.c.sha256).where(profiles.c.sha256 == bindparam("sha256"))
_SAME_PHOTO = select(func.min(entries.c.id)).where(
    entries.c.batch_id == bindparam("batch_id"),
    entries.c.kind == bindparam("kind"),
    entries.c.photo_sha256 == bindparam("sha256"),
    func.coalesce(entries.c.profile_sha256, "") == bindparam("profile"),
    entries.c.id > bindparam("above"),
    entries.c.corrects_id.is_(None),
)
_COUNTED = _NAMED.add_columns(func.coalesce(batch_sums.c.entries, 0).label("entries")).select_from(
    _OF_BENCH.outerjoin(batch_sums, batch_sums.c.batch_id == batches.c.id)
)
_COUNT = select(batch_sums.c.entries).where(batch_sums.c.batch_id == bindparam("number"))
_NEWEST = select(func.max(entries.c.id))
_ADD_PHOTO, _ADD_PROFILE, _ADD_KEY = insert(photos), insert(profiles), insert(keys)
_ADD_ENTRY = insert(entries).returning(entries.c.id)
_ADD_EVENT = insert(events).returning(events.c.id)


@dataclass(frozen=True)
class NewEntry:
    """One entry to add. ``reading`` is the JSON object as the command line prints it."""

    batch_id: int
    kind: str
    origin: str
    photo_sha256: str
    photo_size: int
    reading: Row
    wash: int | None = None
    note: str = ""
    snapped_at: str | None = None
    profile: tuple[str, str] | None = None  # its SHA-256 and its text
    extras: Row = field(default_factory=dict)
    corrects_id: int | None = None
    made_by: str | None = None
    why: str | None = None
    camera: Camera | None = None  # make and model by the photo's EXIF; None where nobody looked


# --- batches


def add_batch(c: Connection, name: str, zone: str | None = None) -> int:
    """Open a batch of the asker's and return its number.

    ``zone`` is the IANA name of where it is, this computer's if not said.
    """
    one_writer(c)
    at = now()
    values = {"name": name, "opened_at": at, "details": json_line({ZONE: zone or server_zone()})}
    number: int = c.execute(insert(batches).values(values).returning(batches.c.id)).scalar_one()
    _tie_batch(c, number)
    count_batch(c, number)
    keep_batch(c, number, at, name)
    if asks() is not None:
        set_owner(c, number, asks())
    add_event(c, number, at, OPENED, {"name": name, **words_of(c, asks())})
    return number


def batch(c: Connection, number: int) -> Row | None:
    """One batch, or None; to a bench that of another is none."""
    row = _BATCH.run(c, number=number).mappings().one_or_none()
    return None if row is None else _batch(dict(row))


def all_batches(c: Connection, *, after: int | None = None, limit: int | None = None) -> list[Row]:
    """The asker's batches with the number of their entries, newest first: all, or so many after one of them."""
    query = own_batches(_COUNTED, batches.c.id, after, limit)
    return [_batch(dict(row)) for row in c.execute(query).mappings()]


def open_batch(c: Connection) -> int | None:
    """The newest batch that is open and no bench's: where a watched folder's photos go."""
    query = select(batches.c.id).where(batches.c.closed_at.is_(None)).order_by(batches.c.id.desc()).limit(1)
    return c.execute(of_nobody_else(query, batches.c.id)).scalar()


def give_batch(c: Connection, number: int, bench: int | None) -> None:
    """Make a batch this bench's from now on, or the keeper's (None); its history says so. The batch must exist."""
    one_of_batch(c, number)
    if bench != owner_of(c, number):
        set_owner(c, number, bench)
        add_event(c, number, now(), GIVEN, words_of(c, bench) or {BENCH: KEEPER})


def take_batch(c: Connection, number: int, bench: int) -> None:
    """Make a batch of this bench the keeper's.

    Raises
    ------
    NotFound
        If it is none of this bench's.
    """
    one_of_batch(c, number)
    if owner_of(c, number) != bench:
        raise NotFound("not_its_batch", _("Batch {number} is none of this bench's.", number=number))
    give_batch(c, number, None)


def change_batch(
    c: Connection,
    number: int,
    *,
    name: str | None,
    closed: bool | None,
    details: Row | None,
    why: Row | None = None,
    zone: str | None = None,
) -> None:
    """Rename, close or open again, set details or the zone; each becomes an event. The batch must exist.

    ``why``: of closing and opening again, the ``reason`` and ``who`` that the event keeps.
    """
    one_of_batch(c, number)
    old = batch(c, number)
    assert old is not None
    done: list[tuple[str, Row]] = []
    if name is not None and name != old["name"]:
        c.execute(update(batches).where(batches.c.id == number).values(name=name))
        done.append(("renamed", {"from": old["name"], "to": name}))
    if closed is not None and closed != (old["closed_at"] is not None):
        c.execute(update(batches).where(batches.c.id == number).values(closed_at=now() if closed else None))
        done.append(("closed" if closed else "opened again", dict(why or {})))
    if details is not None and details != old["details"]:
        kept = json_line({**details, ZONE: old["zone"]})
        c.execute(update(batches).where(batches.c.id == number).values(details=kept))
        done.append(("details", {"from": old["details"], "to": details}))
    if zone is not None and zone != old["zone"]:
        kept = json_line({**(old["details"] if details is None else details), ZONE: zone})
        c.execute(update(batches).where(batches.c.id == number).values(details=kept))
        done.append(("zone", {"from": old["zone"], "to": zone}))
    if done:
        _tie_batch(c, number)
    if name is not None and name != old["name"]:
        keep_batch(c, number, old["opened_at"], name, old["name"])
    for what, detail in done:
        add_event(c, number, now(), what, detail)


def batch_events(c: Connection, number: int) -> list[Row]:
    """What was done to a batch, in order."""
    query = only_own(select(events).where(events.c.batch_id == number), events.c.batch_id)
    found = c.execute(query.order_by(events.c.id)).mappings()
    return [{**row, "detail": json_object(row["detail"])} for row in found]


def add_event(c: Connection, batch_id: int, at: str, what: str, detail: Mapping[str, object]) -> int:
    """Write down what was done to a batch, or noted of it; return the event's number."""
    one_writer(c)  # before the number is given: numbers come in the chain's order
    values: Row = {"batch_id": batch_id, "at": at, "what": what, "detail": json_line(detail)}
    number: int = c.execute(_ADD_EVENT, values).scalar_one()
    append(c, [("events", {"id": number, **values})])
    keep_event(c, number, at, what, values["detail"])
    return number


def _tie_batch(c: Connection, number: int) -> None:
    """A batch's row changes as it is renamed or closed: each state that it was in has its link."""
    append(c, [("batches", dict(c.execute(_STATE, {"number": number}).mappings().one()))])


def _batch(row: Row) -> Row:
    """A batch's row with its details read; its zone stands beside them, this computer's in an older log."""
    details = json_object(row["details"])
    zone = details.pop(ZONE, None)
    return {**row, "details": details, "zone": server_zone() if zone is None else zone_or_utc(zone)}


# --- entries


def add_entry(c: Connection, new: NewEntry, key: tuple[str, str] | None = None) -> int:
    """Add an entry, the rows that it names, and the idempotency key that it answers; return its number.

    Raises
    ------
    BenchBusy
        If its reading is of another photo: the file that was read is not what was named. Nothing is added then.
    """
    if new.origin != "correction" and new.reading["sha256"] != new.photo_sha256:  # a hand may correct such an old one
        raise _another_photo(new.photo_sha256)
    one_writer(c)  # before anything is looked for that another batch's entry may just be adding
    at = now()
    rows: list[tuple[str, Row]] = []
    if not knows_photo(c, new.photo_sha256):
        rows.append(("photos", {"sha256": new.photo_sha256, "size": new.photo_size, "first_at": at}))
        c.execute(_ADD_PHOTO, rows[-1][1])
    if new.profile is not None:
        sha256, content = new.profile
        if c.execute(_PROFILE, {"sha256": sha256}).first() is None:
            rows.append(("profiles", {"sha256": sha256, "text": content, "first_at": at}))
            c.execute(_ADD_PROFILE, rows[-1][1])
    value, low, high = (None if figure is None else float(figure) for figure in figures(new.reading))
    values: Row = {
        "batch_id": new.batch_id,
        "kind": new.kind,
        "origin": new.origin,
        "received_at": at,
        "snapped_at": new.snapped_at,
        "wash": new.wash,
        "note": new.note,
        "photo_sha256": new.photo_sha256,
        "profile_sha256": new.profile[0] if new.profile else None,
        "software": str(new.reading["software"]),
        "status": str(new.reading["status"]),
        "value": value,
        "low": low,
        "high": high,
        "reading": json_line(new.reading),
        "extras": json_line(new.extras),
        "corrects_id": new.corrects_id,
        "made_by": new.made_by,
        "why": new.why,
    }
    number: int = c.execute(_ADD_ENTRY, values).scalar_one()
    count_entry(c, new.batch_id, number)
    rows.append(("entries", {"id": number, **values}))
    if key is not None:
        rows.append(("keys", _add_key(c, key, number)))
    append(c, rows)
    keep_entry(c, number, values)
    if new.camera is not None:
        keep_phone(c, new.photo_sha256, new.camera)
    return number


def _another_photo(sha256: str) -> BenchBusy:
    return BenchBusy(
        "disk_trouble",
        _(
            "The file of photo {digits} on the bench computer is not what was sent. Nothing was stored. Look after its "
            "disk, and send it again.",
            digits=sha256[:16],
        ),
        30,
    )


def add_key(c: Connection, key: tuple[str, str], entry_id: int) -> None:
    """Write down that this idempotency key (and fingerprint of its request) was answered with this entry."""
    one_writer(c)
    append(c, [("keys", _add_key(c, key, entry_id))])


def _add_key(c: Connection, key: tuple[str, str], entry_id: int) -> Row:
    values: Row = {"key": own_key(key[0]), "fingerprint": key[1], "entry_id": entry_id, "at": now()}
    c.execute(_ADD_KEY, values)
    return values


def key_of(c: Connection, key: str) -> Row | None:
    """What an idempotency key was answered with, or None; each bench has keys of its own."""
    row = c.execute(_KEY, {"key": own_key(key)}).mappings().one_or_none()
    return None if row is None else dict(row)


def entry(c: Connection, number: int) -> Row | None:
    """One entry, or None; to a bench that of another is none."""
    row = _ENTRY.run(c, number=number).mappings().one_or_none()
    return None if row is None else _with_moments(c, [read_row(dict(row))], row["batch_id"])[0]


def entries_of(c: Connection, batch_id: int, *, after: int = 0, limit: int | None = None) -> list[Row]:
    """Entries of a batch in the order in which they came."""
    query = _ENTRIES.where(entries.c.batch_id == batch_id, entries.c.id > after).order_by(entries.c.id).limit(limit)
    query = only_own(query, entries.c.batch_id)
    return _with_moments(c, [read_row(dict(row)) for row in c.execute(query).mappings()], batch_id)


def entries_numbered(c: Connection, batch_id: int, numbers: Sequence[int]) -> list[Row]:
    """These entries of a batch, in order."""
    found: list[Row] = []
    for first in range(0, len(numbers), _IN_ONE):
        query = _ENTRIES.where(entries.c.id.in_(numbers[first : first + _IN_ONE]), entries.c.batch_id == batch_id)
        query = only_own(query, entries.c.batch_id)
        found += [read_row(dict(row)) for row in c.execute(query).mappings()]
    return _with_moments(c, sorted(found, key=lambda row: int(row["id"])), batch_id)


def _with_moments(c: Connection, rows: list[Row], batch_id: int) -> list[Row]:
    """The rows of one batch, each with ``moment``: when its photo was taken. A correction has its original's."""
    of = batch(c, batch_id) or {"opened_at": "", "zone": server_zone()}
    found: dict[int, Moment] = {}
    for row in rows:
        first = row
        while first["corrects_id"] is not None and first["corrects_id"] < first["id"] and first["id"] not in found:
            before = found.get(first["corrects_id"])
            older = None if before else c.execute(_ANY_ENTRY, {"number": first["corrects_id"]}).mappings().one_or_none()
            if before is not None:
                found[first["id"]] = before
            elif older is None:
                break  # damaged: it corrects what is not there
            else:
                first = read_row(dict(older))
        found[row["id"]] = found.get(first["id"]) or moment_of(first, of["opened_at"], of["zone"])
    return [{**row, "moment": found[row["id"]]} for row in rows]


def last_entry(c: Connection, batch_id: int) -> int:
    """Number of a batch's newest entry, 0 without any."""
    return c.execute(select(func.max(entries.c.id)).where(entries.c.batch_id == batch_id)).scalar() or 0


def count_entries(c: Connection, batch_id: int) -> int:
    """How many entries a batch has."""
    return c.execute(_COUNT, {"number": batch_id}).scalar() or 0


def same_photo(c: Connection, batch_id: int, kind: str, sha256: str, *, profile: str | None, above: int) -> int | None:
    """The first entry numbered above ``above`` that this very photo made in this batch with this profile, or None.

    By number, not by time: a clock that was put back or forward would make the window endless or empty.
    """
    asked = {"batch_id": batch_id, "kind": kind, "sha256": sha256, "profile": profile or "", "above": above}
    return c.execute(_SAME_PHOTO, asked).scalar()


def newest_entry(c: Connection) -> int:
    """Number of the log's newest entry, 0 without any."""
    return c.execute(_NEWEST).scalar() or 0


def knows_photo(c: Connection, sha256: str) -> bool:
    """Whether any entry names this photo."""
    return c.execute(_PHOTO, {"sha256": sha256}).first() is not None


def photo_size(c: Connection, sha256: str) -> int:
    """Size of a photo that the log names, in bytes."""
    return int(c.execute(select(photos.c.size).where(photos.c.sha256 == sha256)).scalar_one())


def profile_text(c: Connection, sha256: str) -> str | None:
    """The kept copy of a profile."""
    return c.execute(select(profiles.c.text).where(profiles.c.sha256 == sha256)).scalar()


def corrector(c: Connection, number: int) -> int | None:
    """The entry that corrects this one, if any."""
    return c.execute(select(func.max(entries.c.id)).where(entries.c.corrects_id == number)).scalar()


def correctors(c: Connection, batch_id: int, numbers: list[int], up_to: int | None = None) -> dict[int, int]:
    """Old entry -> the newest that corrects it (none after ``up_to``), for these of a batch, which must be in order."""
    if not numbers:
        return {}
    query = (
        select(entries.c.corrects_id, func.max(entries.c.id))
        .where(entries.c.batch_id == batch_id, entries.c.corrects_id.between(numbers[0], numbers[-1]))
        .group_by(entries.c.corrects_id)
    )
    if up_to is not None:
        query = query.where(entries.c.id <= up_to)
    return {row[0]: row[1] for row in c.execute(query)}


def figures(reading: Row) -> tuple[float | None, float | None, float | None]:
    """The value and interval of any kind of reading; a photo of two vials has neither."""
    if reading["kind"] == "cells":
        return None, None, None
    value, interval = {
        "ph": ("ph", "interval"),
        "tint": ("mg_per_l", "interval"),
        "solid": ("pale_fraction", "pale_interval"),
    }[reading["kind"]]
    low, high = reading.get(interval) or (None, None)
    return reading.get(value), low, high


def known_batch(c: Connection, number: int) -> Row:
    """A batch that must exist.

    Raises
    ------
    NotFound
        If it does not.
    """
    found = batch(c, number)
    if found is None:
        raise NotFound("no_such_batch", _("There is no batch {number}.", number=number))
    return found


def known_entry(c: Connection, number: int) -> Row:
    """An entry that must exist.

    Raises
    ------
    NotFound
        If it does not.
    """
    found = entry(c, number)
    if found is None:
        raise NotFound("no_such_reading", _("There is no reading {number}.", number=number))
    return found
