"""Photos lined up for a store: a second name for each, in a folder beside theirs, until the store has got it."""

from __future__ import annotations

import os
import secrets
import shutil
from pathlib import Path

from service.log.blobs import Blobs, sync_folder

OUTGOING = "outgoing"  # that folder


def line_up_all(root: Path) -> int:
    """Line up all photos of a folder for a store; how many they are. Those that are no whole photos are left out."""
    outgoing = root.parent / OUTGOING
    outgoing.mkdir(exist_ok=True)
    many = 0
    blobs = Blobs(root)
    for sha256 in blobs.all():
        if blobs.whole_copy(sha256):
            line_up(blobs.path(sha256), outgoing / sha256)
            many += 1
    sync_folder(outgoing)
    sync_folder(root.parent)
    return many


def line_up(path: Path, link: Path) -> None:
    """The same file under a second name, instead of what had that; a copy, where the file system knows no such links.

    What lies there may be damaged, so it never stays.
    """
    beside = link.with_name(f"{link.name}.{secrets.token_hex(4)}")
    try:
        try:
            os.link(path, beside)
        except OSError:
            shutil.copyfile(path, beside)
            with beside.open("rb") as written:
                os.fsync(written.fileno())
        beside.replace(link)
    finally:
        beside.unlink(missing_ok=True)  # which stays where both were the same file already, as rename(2) says
