"""The phones of photos that were logged before the log knew of phones: each photo's EXIF is looked at once."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from pathlib import Path

from sqlalchemy.exc import SQLAlchemyError

from service.errors import PhotoProblem, ServiceError
from service.log.aside.phones import Camera, keep_phone, photos_to_look_at
from service.log.blobs import Blobs
from service.log.database import Database
from service.readers.pool import WorkPool
from service.readers.threads import in_thread
from service.readers.worker import Job, camera_job

log = logging.getLogger(__name__)


async def look_at_earlier(database: Database, blobs: Blobs, pool: WorkPool) -> None:
    """See which phones took the photos of an older log, a few at a time, behind whatever else the pool is asked."""
    try:
        while waiting := await in_thread(_waiting, database):
            for sha256 in waiting:
                await in_thread(_keep, database, sha256, await _camera(await in_thread(blobs.here, sha256), pool))
    except (ServiceError, SQLAlchemyError, OSError) as problem:  # it goes on at the next start: nothing waits for it
        log.info("the phones of earlier photos are looked at later: %s", problem)


async def _camera(photo: Path, pool: WorkPool) -> Camera:
    """What the photo says; nothing where it is lost, or is one that no worker gets through."""
    if not photo.is_file():
        return "", ""
    try:
        return await pool.run(camera_job, Job("ph", photo, photo.name))
    except PhotoProblem:
        return "", ""


def look_at_earlier_now(database: Database, blobs: Blobs) -> int:
    """The same in this process, for a command; gives how many photos were looked at."""
    from stripread.photo import camera_of  # noqa: PLC0415 - loads the decoders

    count = 0
    for sha256 in _all_waiting(database):
        path = blobs.here(sha256)
        _keep(database, sha256, camera_of(path.read_bytes()) if path.is_file() else ("", ""))
        blobs.forget(sha256)
        count += 1
    return count


def _all_waiting(database: Database) -> Iterator[str]:
    while waiting := _waiting(database):
        yield from waiting


def _waiting(database: Database) -> list[str]:
    with database.read() as c:
        return photos_to_look_at(c)


def _keep(database: Database, sha256: str, camera: Camera) -> None:
    with database.write(alone=True) as c:
        keep_phone(c, sha256, camera)
