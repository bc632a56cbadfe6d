"""Photos that stay in their store until a worker of the cluster fetches them: named here, and not fetched.

A worker gets the store's URL and the photo's hash, opens the store with the options and keys of its own environment,
and holds what it gets against the hash. Neither keys nor photos pass through the service or the scheduler.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from service.log.blobs import Blobs
from service.log.photos.away import StoredBlobs
from service.log.photos.store import NotTheSame, Store, StoreAway
from stripread.errors import CallError

_LEFT = Path("/in the store")  # a folder that is none: what would lie in it is fetched by the worker


class NotFetched(Exception):  # noqa: N818 - what it is, in the house's words
    """A worker can't reach the store; the text says why. Who asked sends the photo itself."""


class PhotoGone(Exception):  # noqa: N818
    """The store has no such photo, or another one in its place."""


class LeftInStore(Blobs):
    """The photos of a log in a store, for jobs that a worker of the cluster gets: those with a copy here, by it."""

    def __init__(self, blobs: StoredBlobs) -> None:
        super().__init__(blobs.root, reading=True)
        self.blobs = blobs
        self.url = blobs.store.url

    def here(self, sha256: str) -> Path:
        """The copy that is here; else a name that says that the photo is left in the store."""
        for place in (self.path(sha256), self.blobs.outgoing / sha256):
            if place.exists():
                return place
        return _LEFT / sha256

    def is_there(self, sha256: str) -> bool:
        """Whoever fetches it finds out."""
        self.path(sha256)
        return True

    def fetched(self, path: Path) -> Path:
        """The same photo as a file on this computer.

        Raises
        ------
        StoreAway, NotTheSame
        """
        return self.blobs.here(path.name) if is_left(path) else path

    def forget(self, sha256: str) -> None:
        """A copy that was fetched only to be read once is not needed any more."""
        self.blobs.forget(sha256)


def is_left(path: Path) -> bool:
    """Whether a job names a photo that is left in the store."""
    return path.parent == _LEFT


def fetch(url: str, sha256: str) -> bytes:
    """What a worker does: the photo's bytes from the store at ``url``, held against its hash.

    Raises
    ------
    NotFetched
        If this worker can't reach the store.
    PhotoGone
        If the store has not got it.
    """
    try:
        return _store(url).get(sha256)
    except (FileNotFoundError, NotTheSame):
        raise PhotoGone(sha256) from None
    except (StoreAway, CallError) as problem:
        raise NotFetched(str(getattr(problem, "strerror", None) or problem)) from None


@lru_cache(maxsize=4)
def _store(url: str) -> Store:
    """Opened once in each worker process, with its own environment's options."""
    return Store(url)
