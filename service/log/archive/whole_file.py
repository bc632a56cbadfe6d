"""A new file that is there whole or not at all, and never in the place of another."""

from __future__ import annotations

import errno
import os
import secrets
from collections.abc import Iterable
from pathlib import Path

from service.errors import Conflict
from service.log.blobs import sync_folder
from stripread.words import _

_NO_LINKS = {errno.EPERM, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS, errno.EMLINK}


def beside(target: Path) -> Path:
    """A free name beside the target, for what is not finished."""
    return target.with_name(f".{target.name[:100]}.{secrets.token_hex(8)}.part")


def write_whole(target: Path, pieces: Iterable[bytes]) -> None:
    """Write the pieces into a file beside ``target``, and give it that name once the disk has it.

    Raises
    ------
    Conflict
        If there is something of that name, also if it came meanwhile.
    OSError
        When the disk does not take it; nothing is left behind then.
    """
    need_free(target)
    unfinished = beside(target)
    handle = os.open(unfinished, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
    try:
        with os.fdopen(handle, "wb") as out:
            for piece in pieces:
                out.write(piece)
            out.flush()
            os.fsync(out.fileno())
        _name(unfinished, target)
    finally:
        unfinished.unlink(missing_ok=True)
    sync_folder(target.parent)


def need_free(target: Path) -> None:
    """Say it before the work if the name is taken.

    Raises
    ------
    Conflict
        If it is.
    """
    if os.path.lexists(target):
        raise Conflict(
            "name_taken", _("{target} is there already, and nothing is overwritten: give another name.", target=target)
        )


def _name(unfinished: Path, target: Path) -> None:
    try:
        os.link(unfinished, target)  # unlike a rename it fails where the name is taken
    except FileExistsError:
        need_free(target)
    except OSError as problem:
        if problem.errno not in _NO_LINKS:
            raise
        need_free(target)  # a stick's file system without links: looked at a moment before
        unfinished.rename(target)
