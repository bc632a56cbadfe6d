"""Photos held against the rows that name them, wherever they are: in the folder, or in a store with copies here."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from pathlib import Path
from typing import Protocol

from service.log.blobs import Blobs, hash_of
from service.log.photos.away import StoredBlobs
from service.log.photos.folder import FolderCheck, check_some, look_beside, look_for_others
from service.log.photos.several import several
from service.log.photos.store import NotTheSame, StoreAway
from stripread.words import _


class Held(Protocol):
    """A place of photos, as a check looks at it."""

    def some(self, known: Iterable[tuple[str, int]], found: FolderCheck) -> None:
        """Hold these photos, by hash with their sizes, against what is there."""

    def others(self, known: Collection[str], found: FolderCheck, within: str) -> None:
        """Name what lies in one of the 256 folders and is none of these photos."""

    def beside(self, folders: Collection[str], found: FolderCheck) -> None:
        """Name what lies in none of these folders."""


class InFolder:
    """Photos in a folder of this computer."""

    def __init__(self, root: Path) -> None:
        self._root = root

    def some(self, known: Iterable[tuple[str, int]], found: FolderCheck) -> None:
        """Hold these photos against their files."""
        check_some(self._root, known, found)

    def others(self, known: Collection[str], found: FolderCheck, within: str) -> None:
        """Name the files that belong to none of these photos."""
        look_for_others(self._root, known, found, within)

    def beside(self, folders: Collection[str], found: FolderCheck) -> None:
        """Name what lies in none of these folders."""
        look_beside(self._root, folders, found)


class InStore:
    """Photos in a store; those that are not sent yet are looked at on this computer.

    Each method raises ``StoreAway`` where the store does not answer: a check that could not look says nothing.
    """

    def __init__(self, blobs: StoredBlobs) -> None:
        self._blobs = blobs
        self._tops: list[str] | None = None

    def some(self, known: Iterable[tuple[str, int]], found: FolderCheck) -> None:
        """Hold these photos against the store's; all are fetched, several at a time."""
        sizes = dict(known)
        for sha256, wrong in several(lambda sha: self._wrong(sha, sizes[sha]), sizes):
            if wrong:
                found.faults.append(f"photo {sha256} {wrong}")

    def _wrong(self, sha256: str, size: int) -> str | None:
        try:
            copy = self._blobs.path(sha256)
        except ValueError:
            return _("has a name that is no hash")
        waiting = self._blobs.outgoing / sha256
        try:
            if _hash(copy) not in (None, sha256):
                return _("has a copy on this computer that is not what it was: remove {path}", path=copy)
            if _hash(waiting) not in (None, sha256):
                return _("waits to be sent, in a file that is not what it was: {path}", path=waiting)
            there = _size(waiting)
            if there is None:
                there = len(self._blobs.store.get(sha256))
        except StoreAway:
            raise
        except NotTheSame:
            there = None
        except FileNotFoundError:
            return _("is missing in the store; a copy is in {path}", path=copy) if copy.exists() else _("is missing")
        except OSError as problem:
            return _("can't be read: {strerror}", strerror=problem.strerror)
        return None if there == size else _("is not what it was")

    def others(self, known: Collection[str], found: FolderCheck, within: str) -> None:
        """Name what lies in this folder of the store, or waits for it, and is none of these photos."""
        expected = set(known)
        if self._tops is None:
            self._tops = self._blobs.store.tops()  # a small log has few folders: the others need no question each
        for name in sorted(self._blobs.store.sizes(within)) if within in self._tops else ():
            if name.split("/", 1)[-1] not in expected:
                self._sort_out(name, found)
        waiting = {sha256 for sha256 in self._blobs.waiting() if sha256.startswith(within)}
        found.orphans += sorted(waiting - expected - set(found.orphans))

    def beside(self, folders: Collection[str], found: FolderCheck) -> None:
        """Name what lies in none of these folders of the store."""
        for top in self._blobs.store.tops():
            if top not in folders:
                for name in sorted(self._blobs.store.sizes(top)) or [top]:
                    self._sort_out(name, found)

    def _sort_out(self, name: str, found: FolderCheck) -> None:
        folder, _slash, own = name.partition("/")
        if folder == "incoming":
            found.unfinished.append(own)
            return
        try:
            whole = folder == own[:2] and bool(self._blobs.store.get(own))
        except (ValueError, OSError):
            whole = False
        (found.orphans if whole else found.strays).append(own if whole else name)


def _hash(path: Path) -> str | None:
    """None where there is no file: of a copy that was tidied away, or a photo that was sent, since."""
    try:
        return hash_of(path)
    except FileNotFoundError:
        return None


def _size(path: Path) -> int | None:
    try:
        return path.stat().st_size
    except FileNotFoundError:
        return None


def held(blobs: Blobs) -> Held:
    """How to look at these photos."""
    return InStore(blobs) if isinstance(blobs, StoredBlobs) else InFolder(blobs.root)
