"""Watching a folder: photos that a phone syncs into it are read into the open batch.

What was read before is known by its hash from the log itself, so a restart reads nothing twice and needs no list.
"""

from __future__ import annotations

import asyncio
import logging
import time
from pathlib import Path

from sqlalchemy.exc import SQLAlchemyError

from service.errors import PhotoProblem, ServiceError, WrongStatement
from service.log import store
from service.log.blobs import hash_of
from service.log.database import Database
from service.log.entries import file_name
from service.moments import file_time
from service.readers.intake import Intake, Submission
from service.readers.threads import in_thread

log = logging.getLogger("stripread.watch")
ENDINGS = {".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".heic", ".heif"}
Stamp = tuple[int, int]


class Watcher:
    """Looks into one folder, not below it, every few seconds. Polling: network folders tell nothing."""

    def __init__(self, folder: Path, every: float, database: Database, intake: Intake) -> None:
        self._folder = folder
        self._every = every
        self._database = database
        self._intake = intake
        self._seen: dict[Path, Stamp] = {}
        self._done: dict[Path, Stamp] = {}
        self._not_before: dict[Path, float] = {}  # of photos that could not be read for the bench's own fault

    async def run(self) -> None:
        """Watch until cancelled."""
        while True:
            try:
                for path in await in_thread(self._settled):
                    await self._take(path)
            except OSError as problem:
                log.warning("can't look into the watched folder: %s", problem.strerror)
            await asyncio.sleep(self._every)

    def _settled(self) -> list[Path]:
        """Photos that have not changed since the last look: a sync may still be writing the others."""
        found: dict[Path, Stamp] = {}
        for path in sorted(self._folder.iterdir()):
            if (
                path.suffix.lower() in ENDINGS
                and not path.name.startswith(".")
                and path.is_file()
                and not path.is_symlink()
            ):
                stat = path.stat()
                found[path] = (stat.st_size, stat.st_mtime_ns)
        now = time.monotonic()
        self._not_before = {p: at for p, at in self._not_before.items() if p in found and at > now}
        ready = [
            p
            for p, s in found.items()
            if self._seen.get(p) == s and self._done.get(p) != s and s[0] > 0 and p not in self._not_before
        ]
        self._seen = found
        return ready

    async def _take(self, path: Path) -> None:
        try:
            batch = await in_thread(self._place, path)
            if batch is None:
                return
            if batch:
                with path.open("rb") as source:
                    sent = Submission(
                        batch,
                        "ph",
                        file_name(path.name),
                        snapped_at=file_time(path),
                        snapped_by="file",
                        own_time=True,
                        origin="watch",
                    )
                    await self._intake.take(sent, source)
            self._done[path] = self._seen[path]
        except ServiceError as problem:
            log.warning("%s: %s", path.name, problem.detail)
            self._not_before[path] = time.monotonic() + (problem.retry_after or 0)
            if isinstance(problem, PhotoProblem | WrongStatement):  # this photo's own fault: not again
                self._done[path] = self._seen[path]
        except SQLAlchemyError:
            log.warning("%s: the log can't be written now", path.name)

    def _place(self, path: Path) -> int | None:
        """The batch for this photo; 0 when it is in the log already, None when no batch is open yet."""
        with self._database.read() as c:
            return 0 if store.knows_photo(c, hash_of(path)) else store.open_batch(c)
