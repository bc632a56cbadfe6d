"""Reading a batch again: the same photos and profiles through this version, and what comes out differently."""

from __future__ import annotations

from typing import Any, Protocol

from pydantic import BaseModel, Field

from service.errors import BenchBusy, ServiceError
from service.log import store
from service.log.blobs import Blobs
from service.log.chain.locks import one_of_batch
from service.log.course.standing import in_force
from service.log.database import Database
from service.log.profiles import Profiles
from service.log.unreadable import rereadable
from service.readers.jobs import job_again, photos_here
from service.readers.pool import WorkPool
from service.readers.swatches import swatches
from service.readers.threads import in_thread
from service.readers.worker import Job, Outcome, read_job
from stripread.results import SOFTWARE

# What counts as a change. Names, times and versions differ by nature; the last printed digit is no news.
_COMPARED = (
    *("status", "ph", "interval", "decision", "mg_per_l", "absorbance", "cells"),
    *("pale_fraction", "pale_interval", "ratio"),
)
_DIGIT = 0.0015
_OF_ONE = ("readers_ended", "too_busy")  # met by one photo: the next one finds readers that were started anew


class Archive(Protocol):
    """What reading again needs of a running service or of an opened log."""

    @property
    def database(self) -> Database: ...  # noqa: D102
    @property
    def blobs(self) -> Blobs: ...  # noqa: D102
    @property
    def profiles(self) -> Profiles: ...  # noqa: D102
    @property
    def readers(self) -> WorkPool: ...  # noqa: D102


class Change(BaseModel):
    """What reading one entry's photo again came to."""

    entry: int
    changed: list[str]
    was: dict[str, Any]
    now: dict[str, Any]
    new_entry: int | None = None


class Failed(BaseModel):
    """An entry whose photo could not be read again, and why."""

    entry: int
    why: str


class Reread(BaseModel):
    """What reading a batch again came to."""

    software: str
    read: int
    same: int
    changes: list[Change]
    missing: list[int] = Field(description="Entries whose photo, profile, or what was said beside the photo, is lost.")
    failed: list[Failed] = Field([], description="Entries whose photos could not be read; the others were.")


async def reread_batch(bench: Archive, batch: int, keep: bool) -> Reread:
    """Read every entry in force again; with ``keep`` each change becomes an entry that corrects the old one.

    A photo that can't be read, or that ends its reader, is told and stops nothing.

    Raises
    ------
    ServiceError
        If the service stops, too many photos wait, or nothing reads at all.
    """
    rows = await in_thread(_rows, bench, batch)
    changes: list[Change] = []
    missing: list[int] = []
    failed: list[Failed] = []
    read = 0
    for row in rows:
        job = await in_thread(_job, bench, row)
        if job is None:
            missing.append(row["id"])
            continue
        try:
            outcome = await bench.readers.run(read_job, job)
        except Exception as problem:  # of this photo, unless it stops all of them
            if isinstance(problem, BenchBusy) and problem.code not in _OF_ONE:
                raise
            failed.append(Failed(entry=row["id"], why=_why(problem)))
            continue
        if not of_its_photo(row, outcome):
            missing.append(row["id"])
            continue
        read += 1
        changed = differences(row["reading"], outcome.reading)
        if changed:
            new = await in_thread(correct, bench.database, row, outcome) if keep else None
            was, is_now = ({k: r.get(k) for k in changed} for r in (summary(row["reading"]), summary(outcome.reading)))
            changes.append(Change(entry=row["id"], changed=changed, was=was, now=is_now, new_entry=new))
    return Reread(
        software=SOFTWARE, read=read, same=read - len(changes), changes=changes, missing=missing, failed=failed
    )


def _why(problem: Exception) -> str:
    return problem.detail if isinstance(problem, ServiceError) else f"{type(problem).__name__}: {problem}"


def of_its_photo(row: store.Row, outcome: Outcome) -> bool:
    """Whether the file that was read is the entry's photo; one that was damaged since is lost, whatever it reads."""
    return bool(outcome.reading["sha256"] == row["photo_sha256"])


def differences(was: dict[str, Any], now: dict[str, Any]) -> list[str]:
    """The fields in which two readings of one photo differ."""
    old, new = summary(was), summary(now)
    return [name for name in old if not _same(old[name], new.get(name))]


def summary(reading: dict[str, Any]) -> dict[str, Any]:
    """What of a reading is compared: values, intervals, status, and the codes of its reasons."""
    known = {name: reading[name] for name in _COMPARED if name in reading}
    return {**known, "reasons": sorted(r["code"] for r in reading["reasons"])}


def _same(a: Any, b: Any) -> bool:  # noqa: ANN401 - JSON values
    if isinstance(a, list) and isinstance(b, list):
        return len(a) == len(b) and all(_same(x, y) for x, y in zip(a, b, strict=True))
    if isinstance(a, int | float) and isinstance(b, int | float):
        return abs(a - b) <= _DIGIT
    return bool(a == b)


def _rows(bench: Archive, batch: int) -> list[store.Row]:
    with bench.database.read() as c:
        store.known_batch(c, batch)
        return read_from_photos(store.entries_of(c, batch))


def read_from_photos(rows: list[store.Row]) -> list[store.Row]:
    """The entries in force among these that come from a photo, and so can be made again from it."""
    # What somebody entered by hand does not come from a photo.
    found = [r for r in in_force(rows) if not r["extras"].get("by_hand")]
    # Nor does what a correction that can't be read said: a person must say it again.
    return [r for r in found if not (r.get("unreadable") and r["origin"] == "correction")]


def _job(bench: Archive, row: store.Row) -> Job | None:
    if not rereadable(row):
        return None
    profile = None
    if row["profile_sha256"] is not None:
        with bench.database.read() as c:
            text = store.profile_text(c, row["profile_sha256"])
        if text is None:
            return None
        profile = bench.profiles.keep(text).path
    return job_again(row, bench.blobs, profile) if photos_here(row, bench.blobs) else None


def correct(
    database: Database,
    row: store.Row,
    outcome: Outcome,
    *,
    made_by: str = SOFTWARE,
    profile: tuple[str, str] | None = None,
) -> int | None:
    """Add what an entry's photo reads now as one that corrects it; its number, or None if somebody has corrected it.

    ``profile``: hash and text of that which was read with, if it is not that of then.
    """
    with database.write() as c:
        one_of_batch(c, row["batch_id"])
        if store.corrector(c, row["id"]) is not None:
            return None  # meanwhile: theirs counts
        if profile is None and row["profile_sha256"]:
            text = store.profile_text(c, row["profile_sha256"])
            profile = None if text is None else (row["profile_sha256"], text)
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
            profile=profile,
            extras={**row["extras"], "colours": swatches(outcome)},
            corrects_id=row["id"],
            made_by=made_by,
            why=f"read again: {', '.join(differences(row['reading'], outcome.reading))} changed",
        )
        return store.add_entry(c, new)
