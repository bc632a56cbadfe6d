"""A folder for one process alone: of two services one would sweep away what is just coming in. Any end frees it."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import BinaryIO

from stripread.errors import CallError
from stripread.words import _

FILE = "lock"


def only_one(data: Path) -> BinaryIO:
    """Take this folder for one service, as long as the answer is open.

    Raises
    ------
    CallError
        If another service has it.
    """
    lock = alone(data)
    if lock is None:
        raise CallError(_("another stripread uses the folder {data}: stop it, or ask it instead", data=data))
    return lock


def alone(folder: Path) -> BinaryIO | None:
    """Take a folder, as long as the answer is open; None if somebody has it."""
    lock = (folder / FILE).open("ab")
    if _taken(lock):
        return lock
    lock.close()
    return None


def in_use(data: Path) -> bool:
    """Whether a service has this folder just now; nothing is made or changed."""
    try:
        with (data / FILE).open("rb+") as lock:
            return not _taken(lock)
    except OSError:
        return False


def _taken(lock: BinaryIO) -> bool:
    if sys.platform == "win32":
        import msvcrt  # noqa: PLC0415

        try:
            msvcrt.locking(lock.fileno(), msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True
    import fcntl  # noqa: PLC0415

    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True
