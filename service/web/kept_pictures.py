"""Pictures made from photos, kept: each is made once, however many ask at once; all together stay within a bound."""

from __future__ import annotations

import asyncio
import hashlib
import json
import os
import secrets
import threading
from collections.abc import Awaitable, Callable
from pathlib import Path

from service.readers.threads import in_thread
from service.readers.worker import Job
from stripread.results import SOFTWARE

_LEFT_AFTER_CLEARING = 0.8  # of the bound: clearing up at every picture would look through the folder each time


class KeptPictures:
    """A folder of pictures that can be made again. To be used from one event loop.

    Parameters
    ----------
    folder
        Made when the first picture comes.
    limit
        Bytes of all together; those that were asked for longest ago go first.
    """

    def __init__(self, folder: Path, limit: int) -> None:
        self._folder = folder
        self._limit = limit
        self._under_way: dict[str, asyncio.Task[bytes]] = {}
        self._clearing = threading.Lock()
        self._size: int | None = None  # not yet known

    async def get(self, name: str, make: Callable[[], Awaitable[bytes]], allow: Callable[[], None]) -> bytes:
        """The picture of this name, made if it is not there.

        ``allow`` is called before it is made for somebody, and may raise; whoever asks meanwhile gets the same picture,
        or the same error.
        """
        if name not in self._under_way:
            kept = await in_thread(self._read, name)
            if kept is not None:
                return kept
        if name not in self._under_way:
            allow()
            task = asyncio.create_task(self._made(name, make))
            self._under_way[name] = task
            task.add_done_callback(lambda done: self._finished(name, done))
        # One who hangs up takes the picture from nobody else.
        return await asyncio.shield(self._under_way[name])

    def _finished(self, name: str, task: asyncio.Task[bytes]) -> None:
        self._under_way.pop(name, None)
        if not task.cancelled():
            task.exception()  # heard by whoever waits

    async def _made(self, name: str, make: Callable[[], Awaitable[bytes]]) -> bytes:
        picture = await make()
        await in_thread(self._keep, name, picture)
        return picture

    def _read(self, name: str) -> bytes | None:
        path = self._folder / name
        try:
            picture = path.read_bytes()
            os.utime(path)  # asked for now: it goes last
        except OSError:
            return None
        return picture

    def _keep(self, name: str, picture: bytes) -> None:
        """Keep a picture. It can be made again, so a failure here is nobody's problem."""
        if len(picture) > self._limit:
            return
        try:
            self._folder.mkdir(exist_ok=True)
            temporary = self._folder / f".{secrets.token_hex(8)}"
            temporary.write_bytes(picture)
            temporary.replace(self._folder / name)
            with self._clearing:
                self._size = self._found_size() if self._size is None else self._size + len(picture)
                if self._size > self._limit:
                    self._size = self._cleared()
        except OSError:
            return

    def _found_size(self) -> int:
        return sum(path.stat().st_size for path in self._folder.iterdir())

    def _cleared(self) -> int:
        """Remove the oldest until there is room again; the size of what stays, bytes."""
        found = sorted((path.stat().st_mtime, path.stat().st_size, path) for path in self._folder.iterdir())
        left = sum(size for _, size, _ in found)
        for _, size, path in found:
            if left <= _LEFT_AFTER_CLEARING * self._limit:
                break
            path.unlink(missing_ok=True)
            left -= size
        return left


def thumbnail_name(sha256: str) -> str:
    """The file of a photo's thumbnail, as this version makes it."""
    return f"{sha256}-{_VERSION}-thumbnail.jpg"


def overlay_name(sha256: str, profile_sha256: str | None, job: Job) -> str:
    """The file of a reading's picture: of this photo, kind, profile and version, and of what was stated beside it."""
    stated = [job.name, job.path_mm, dict(job.taking), job.said.to_dict(), job.blank and [str(b) for b in job.blank]]
    digest = hashlib.sha256(json.dumps([profile_sha256, stated], sort_keys=True).encode()).hexdigest()
    return f"{sha256}-{job.kind}-{digest[:32]}-{_VERSION}-overlay.png"


def shared_name(overlay: str, words: object) -> str:
    """The file of a picture to share: of a reading's picture and of the words around it."""
    return f"{overlay.removesuffix('-overlay.png')}-{hashlib.sha256(repr(words).encode()).hexdigest()[:16]}-shared.png"


_VERSION = SOFTWARE.split()[-1]
