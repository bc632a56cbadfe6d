"""A small file written beside its place and then given its name: whoever reads it finds the old or the new, whole."""

from __future__ import annotations

import os
import secrets
from pathlib import Path


def written_whole(path: Path, content: bytes, *, mode: int | None = None) -> None:
    """Put ``content`` there, instead of what had this name; it is on the disk when this returns.

    Parameters
    ----------
    mode
        Permissions, also before it has its name; None: what the process gives its files.

    Raises
    ------
    OSError
        When the disk does not take it; nothing is left behind then.
    """
    beside = path.with_name(f".{path.name[:100]}.{secrets.token_hex(8)}.part")
    handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666 if mode is None else mode)
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(content)
            out.flush()
            os.fsync(out.fileno())
        if mode is not None:
            beside.chmod(mode)  # whatever mask this process has
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)
