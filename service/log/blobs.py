"""Photos kept as they were sent, named by their SHA-256. A named file is whole: synced before it was named."""

from __future__ import annotations

import hashlib
import os
import secrets
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from stripread.words import _

CHUNK = 256 * 1024  # larger pieces make some systems take large pages for the file, fetched and cleared for each photo


class Blobs:
    """A folder of photos.

    Parameters
    ----------
    root
        Made if missing, together with its parents.
    reading
        Photos are only read: nothing is made.
    """

    def __init__(self, root: Path, *, reading: bool = False) -> None:
        self.root = root
        self.incoming = root / "incoming"
        if reading:
            return
        self.incoming.mkdir(parents=True, exist_ok=True)
        sync_folder(root.parent)
        sync_folder(root)

    def keep(self, source: BinaryIO) -> tuple[str, int]:
        """Store what ``source`` gives and return its SHA-256 and size in bytes; it is on the disk when this returns.

        Raises
        ------
        OSError
            When the disk does not take it; nothing is left behind then.
        """
        temporary = self.incoming / secrets.token_hex(16)
        digest = hashlib.sha256()
        size = 0
        try:
            with temporary.open("xb") as out:
                while chunk := source.read(CHUNK):
                    digest.update(chunk)
                    size += len(chunk)
                    out.write(chunk)
                out.flush()
                os.fsync(out.fileno())
            self.named(temporary, digest.hexdigest())
        finally:
            temporary.unlink(missing_ok=True)
        return digest.hexdigest(), size

    def named(self, temporary: Path, sha256: str) -> None:
        """Give a photo that is on the disk its name, which is the hash of what is in it."""
        place = self.path(sha256)
        if not place.parent.exists():
            place.parent.mkdir(exist_ok=True)
            sync_folder(self.root)
        temporary.replace(place)  # the same bytes if it was there already
        sync_folder(place.parent)

    def path(self, sha256: str) -> Path:
        """Where the photo of this hash lies, if it is there.

        Raises
        ------
        ValueError
            If this is no SHA-256 in lower case hexadecimal: never let a name from outside become a path.
        """
        if not is_hash(sha256):
            raise ValueError(_("not a SHA-256"))
        return self.root / sha256[:2] / sha256

    def whole_copy(self, sha256: str) -> bool:
        """Whether the file of this name is a photo as it was sent: no link, and what its hash says."""
        try:
            path = self.path(sha256)
            links = path.is_symlink() or path.parent.is_symlink()
            return path.is_file() and not links and hash_of(path) == sha256
        except (ValueError, OSError):  # no photo's name; a disk that does not give it
            return False

    def here(self, sha256: str) -> Path:
        """A file on this computer to read the photo from, if it is there; a store's photo is fetched for it."""
        return self.path(sha256)

    def is_there(self, sha256: str) -> bool:
        """Whether it can be read: a file of it is here, fetched where it has to be."""
        return self.here(sha256).exists()

    def here_whole(self, sha256: str) -> Path | None:
        """As ``here``, a file that is what its hash says, wherever it has to be looked for; None if there is none."""
        return self.path(sha256) if self.whole_copy(sha256) else None

    def forget(self, sha256: str) -> None:
        """Told that a photo that was read once is not needed any more."""

    def waiting(self) -> list[str]:
        """Hashes of photos that are not yet where they are to be: none, where that is this folder."""
        return []

    def send_now(self) -> None:
        """Bring what waits to its place, as far as that can be done now."""

    def start_sending(self) -> None:
        """Bring what waits to its place, behind everything else."""

    def close(self) -> None:
        """End what goes on behind."""

    def all(self) -> Iterator[str]:
        """The hashes of all photos that are there."""
        for folder in sorted(self.root.iterdir()):
            if folder != self.incoming and folder.is_dir():
                yield from sorted(p.name for p in folder.iterdir())

    def unfinished(self) -> list[Path]:
        """Files of posts that were cut off."""
        return sorted(self.incoming.iterdir())

    def sweep(self) -> int:
        """Remove what cut-off posts left; only right before serving, when no post is under way."""
        left = self.unfinished()
        for path in left:
            path.unlink(missing_ok=True)
        return len(left)


def is_hash(name: str) -> bool:
    """Whether this is a SHA-256 in lower case hexadecimal, as photos are named by."""
    return len(name) == 64 and set(name) <= set("0123456789abcdef")


def hash_of(path: Path) -> str:
    """The SHA-256 of a file."""
    with path.open("rb") as source:
        return hashlib.file_digest(source, "sha256").hexdigest()


def sync_folder(folder: Path) -> None:
    """Make the folder's own entries last: a rename lives in the folder, not in the file."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
