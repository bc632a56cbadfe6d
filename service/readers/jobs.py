"""From an entry of the log to the job that makes its reading again: for its picture, and for reading it again."""

from __future__ import annotations

from pathlib import Path

from service.log.blobs import Blobs
from service.log.photos.store import NotTheSame
from service.log.store import Row
from service.readers.earlier.cells import cells_again
from service.readers.statement import StripStatement
from service.readers.worker import Job


def photos_of(row: Row) -> list[str]:
    """Hashes of the photos that the entry's reading needs: its own, and those that were read beside it."""
    others = [row["extras"].get(name) for name in ("blank", "cells")]
    return [row["photo_sha256"], *(other["sha256"] for other in others if other is not None)]


def photos_here(row: Row, blobs: Blobs) -> bool:
    """Whether all of them are here, fetched where they have to be. One in whose place lies another is lost.

    Raises
    ------
    StoreAway
    """
    try:
        return all(blobs.is_there(sha256) for sha256 in photos_of(row))
    except NotTheSame:
        return False


def job_again(row: Row, blobs: Blobs, profile: Path | None) -> Job:
    """The job as it was when the entry was made, with ``profile``, the kept copy of the entry's own. Fetches photos."""
    extras = row["extras"]
    blank, cells = extras.get("blank"), cells_again(row)
    return Job(
        row["kind"],
        blobs.here(row["photo_sha256"]),
        row["reading"]["photo"],
        profile,
        extras.get("path_mm"),
        extras.get("taking", {}),
        StripStatement(**extras.get("said", {})),
        None if blank is None else (blobs.here(blank["sha256"]), blank["photo"]),
        None if cells is None else cells.job(blobs),
    )
