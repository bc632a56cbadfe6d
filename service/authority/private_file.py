"""Files for their owner alone: a folder 0700, files 0600, each there whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path

from service.written_whole import written_whole
from stripread.errors import CallError
from stripread.words import _

FOLDER_MODE, FILE_MODE = 0o700, 0o600
MOST = 64 * 1024  # bytes of a key with its certificate, with room to spare


def private_folder(path: Path) -> Path:
    """Make the folder if it is not there; one that others may enter is shut again.

    Raises
    ------
    CallError
        Where it can't be.
    """
    try:
        path.mkdir(mode=FOLDER_MODE, parents=True, exist_ok=True)
        path.chmod(FOLDER_MODE)
    except OSError as problem:
        raise CallError(_("can't keep keys in {path}: {why}", path=path, why=problem.strerror or problem)) from None
    return path


def write_private(path: Path, content: bytes) -> None:
    """Write under a name of its own, then give it its name: nobody else can read it at any moment.

    Raises
    ------
    CallError
        Where it can't be written.
    """
    try:
        written_whole(path, content, mode=FILE_MODE)
    except OSError as problem:
        raise CallError(
            _("can't keep keys in {path}: {why}", path=path.parent, why=problem.strerror or problem)
        ) from None


def read_private(path: Path) -> bytes | None:
    """Its content, or None where it is not there; one that others may read is shut again. A link is not followed.

    Raises
    ------
    CallError
        Where it can't be read, or is no file of that size.
    """
    try:
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0))
        with os.fdopen(handle, "rb") as source:
            content = source.read(MOST + 1)
        path.chmod(FILE_MODE)
    except FileNotFoundError:
        return None
    except OSError as problem:
        raise CallError(_("can't read {path}: {why}", path=path, why=problem.strerror or problem)) from None
    if len(content) > MOST:
        raise CallError(_("{path} is too large for a key", path=path))
    return content
