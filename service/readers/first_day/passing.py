"""A photo that is looked at and not kept: on the disk as long as a worker needs it, gone after."""

from __future__ import annotations

import secrets
import shutil
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import BinaryIO

from service.log.blobs import CHUNK, Blobs
from service.log.entries import file_name
from service.readers.threads import in_thread
from service.readers.worker import Job


@asynccontextmanager
async def passing_photo(blobs: Blobs, source: BinaryIO, name: str | None) -> AsyncIterator[Job]:
    """Hand a photo to a worker. What a killed service leaves behind is swept away with cut-off posts at its next start.

    Raises
    ------
    OSError
        When the disk does not take it.
    """
    place = blobs.incoming / secrets.token_hex(16)

    def write() -> None:
        with place.open("xb") as out:
            shutil.copyfileobj(source, out, CHUNK)

    try:
        await in_thread(write)
        yield Job("ph", place, file_name(name))
    finally:
        place.unlink(missing_ok=True)
