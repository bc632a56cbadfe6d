"""An archive read again, from the first photo to the last: what was read is on the disk a few seconds later."""

from __future__ import annotations

import time
import tomllib
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from dataclasses import dataclass
from pathlib import Path

from service.log import store
from service.log.blobs import Blobs
from service.log.database import Database
from service.log.photos.several import several
from service.log.photos.store import NotTheSame
from service.log.profiles import kept_profile
from service.log.unreadable import rereadable
from service.readers.archive.asked import Asked, batch_numbers, count_of, rows_of
from service.readers.archive.made import Made
from service.readers.archive.shared_photos import SharedPhotos
from service.readers.archive.workers import PhotoFailed, Workers, outcome_of
from service.readers.cluster.left_in_store import PhotoGone
from service.readers.jobs import job_again, photos_here, photos_of
from service.readers.reread import of_its_photo
from service.readers.worker import Job, Outcome
from stripread.errors import CallError

AHEAD = 3  # photos lined up for each that is read at once, so that no reader waits for the log
EVERY_S = 2.0  # between two writings to the disk
Told = Callable[[int, int], None]  # so many entries were looked at, of so many


@dataclass(frozen=True)
class Archive:
    """A log to read again, nothing of which is changed. ``profiles``: folder for copies of the profiles of then."""

    database: Database
    blobs: Blobs
    profiles: Path
    other: str | None = None  # text of the profile to read with instead


def read_archive(archive: Archive, asked: Asked, made: Made, workers: Workers, told: Told) -> None:
    """Read what is asked for and is not in ``made`` yet, until all is. A bad photo is told there and stops nothing.

    Raises
    ------
    CallError
        If memory is short, or the profile to read with can't be used.
    StoreAway
        If the store of photos does not answer.
    ClusterLost
        If the cluster does not.
    OSError
        If this computer's disk is at fault.
    """
    archive.profiles.mkdir(parents=True, exist_ok=True)
    with archive.database.read() as c:
        of = count_of(c, asked)
    lent = SharedPhotos(archive.blobs)
    looked, written = 0, time.monotonic()
    under_way: deque[tuple[store.Row, Job, Future[Outcome]]] = deque()

    def take() -> None:
        row, job, future = under_way.popleft()
        try:
            outcome = outcome_of(workers, job, future)
            made.add(row["id"], outcome if of_its_photo(row, outcome) else None)
        except PhotoFailed as failed:
            if archive.other is not None and isinstance(failed.__cause__, CallError):
                raise failed.__cause__ from None  # the profile to read with, which no photo can be read with
            gone = isinstance(failed.__cause__, PhotoGone | FileNotFoundError | NotTheSame)
            made.add(row["id"], None, *(("missing",) if gone else ("failed", str(failed))))
        lent.give_back(photos_of(row))

    try:
        for row, job, why in _jobs(archive, lent, asked, made.done):
            looked += 1
            if job is not None:
                under_way.append((row, job, workers.read(job)))
            elif why:
                made.add(row["id"], None, why)
            while under_way and (len(under_way) > AHEAD * workers.at_once or under_way[0][2].done()):
                take()
            if time.monotonic() > written + EVERY_S:
                made.keep()
                written = time.monotonic()
            told(looked - len(under_way), of)
        while under_way:
            take()
            told(looked - len(under_way), of)
    finally:
        made.keep()
    told(of, of)


def _jobs(
    archive: Archive, lent: SharedPhotos, asked: Asked, done: set[int]
) -> Iterator[tuple[store.Row, Job | None, str]]:
    """Every entry that is looked at, with the job to read it again; or why there is none, "" where none is wanted."""
    for row, (job, why) in several(lambda row: _job(archive, lent, asked, row), _rows(archive, asked, done)):
        yield row[0], job, why


def _rows(archive: Archive, asked: Asked, done: set[int]) -> Iterator[tuple[store.Row, bool]]:
    with archive.database.read() as c:
        numbers = batch_numbers(c, asked)
    for number in numbers:
        with archive.database.read() as c:
            rows = list(rows_of(c, asked, number))
        for row, read in rows:
            yield row, read and row["id"] not in done


def _job(archive: Archive, lent: SharedPhotos, asked: Asked, entry: tuple[store.Row, bool]) -> tuple[Job | None, str]:
    row, read = entry
    if not read:
        return None, ""
    text, why = _profile(archive, asked, row)
    if why:
        return None, why
    profile = None if text is None else kept_profile(archive.profiles, text).path
    lent.take(photos_of(row))
    if not photos_here(row, archive.blobs):
        lent.give_back(photos_of(row))
        return None, "missing"
    return job_again(row, archive.blobs, profile), ""


def _profile(archive: Archive, asked: Asked, row: store.Row) -> tuple[str | None, str]:
    """Text of the profile to read with, None where none is needed; and why there is none that will do."""
    text = None
    if row["profile_sha256"] is not None:
        with archive.database.read() as c:
            text = store.profile_text(c, row["profile_sha256"])
    if not rereadable(row) or (row["profile_sha256"] is not None and text is None):
        return None, "missing"
    if archive.other is None:
        return text, ""
    same = row["kind"] == "ph" and text is not None and strip_name(text) == asked.strip
    return (archive.other, "") if same else (None, "other")


def strip_name(text: str) -> str | None:
    """The name of the strip that a profile is of."""
    try:
        return str(tomllib.loads(text)["name"])
    except (tomllib.TOMLDecodeError, KeyError):
        return None
