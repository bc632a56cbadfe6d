"""A photo on its way into a draft: in a file of its own until it was looked at, then where photos stay."""

from __future__ import annotations

import secrets
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

from fastapi import UploadFile
from starlette.concurrency import run_in_threadpool

from service.log.calibrations import drafts
from service.readers.calibrating.jobs import KnownFile, LearnJob
from service.web.components import Service
from stripread.words import LANGUAGES


@asynccontextmanager
async def passing(service: Service, photo: UploadFile) -> AsyncIterator[Path]:
    """The photo as a file that is gone again afterwards: one that is refused leaves nothing."""
    path = service.calibrating.folder / secrets.token_hex(16)
    try:
        await run_in_threadpool(_copy, photo, path)
        yield path
    finally:
        path.unlink(missing_ok=True)


def _copy(photo: UploadFile, path: Path) -> None:
    with path.open("xb") as out:
        while chunk := photo.file.read(256 * 1024):
            out.write(chunk)


def kept(service: Service, path: Path) -> tuple[str, int]:
    """Put it where photos stay; its SHA-256 and size."""
    with path.open("rb") as source:
        return service.blobs.keep(source)


def job_of(service: Service, draft: drafts.Row, photos: list[drafts.Row], run: int) -> LearnJob:
    """What the worker is given for a run of a draft."""
    files = [
        KnownFile(service.blobs.here(row["photo_sha256"]), row["file"], row["ph"], row["ph_sd"], row["liquid"])
        for row in photos
    ]
    charts = {f["sha256"]: service.blobs.here(f["sha256"]) for f in draft["chart"] if "sha256" in f}
    progress = service.calibrating.progress_file(run)
    return LearnJob(draft["kind"], tuple(files), tuple(draft["chart"]), charts, progress, tuple(LANGUAGES))
