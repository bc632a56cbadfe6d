"""All photos of a log from its folder to a store and back, each held against its hash."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from sqlalchemy import select

from service.log.database import Database
from service.log.models import photos
from service.log.photos.away import StoredBlobs
from service.log.photos.place import blobs_of, use_folder, use_store
from service.log.photos.several import several
from stripread.errors import CallError
from stripread.words import _

Told = Callable[[int, int], None]


def to_store(data: Path, url: str, told: Told) -> int:
    """Send all photos of this log to the store at ``url``; how many were sent. What was stopped goes on.

    Raises
    ------
    CallError, StoreAway
    """
    use_store(data, url)
    blobs = blobs_of(data)
    assert isinstance(blobs, StoredBlobs)
    return blobs.send(told)


def to_folder(database: Database, data: Path, told: Told) -> int:
    """Bring all photos that the log knows into its folder; how many. The store keeps what it has.

    Raises
    ------
    CallError
        If one is lost: then nothing is changed.
    StoreAway
    """
    blobs = blobs_of(data)
    with database.read() as c:
        known = [str(sha256) for sha256 in c.execute(select(photos.c.sha256).order_by(photos.c.sha256)).scalars()]
    for done, (sha256, place) in enumerate(several(blobs.here_whole, known)):
        told(done, len(known))
        if place is None:
            raise CallError(_("photo {sha256} is lost or damaged; `stripread log check` says all", sha256=sha256))
        here = blobs.path(sha256)
        if place != here:
            here.parent.mkdir(exist_ok=True)
            place.replace(here)  # it waited to be sent
    told(len(known), len(known))
    use_folder(data)
    return len(known)
