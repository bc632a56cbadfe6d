"""Photos lent to those who read: one that several entries share is here until the last of them was read."""

from __future__ import annotations

import threading
from collections import Counter
from collections.abc import Iterable

from service.log.blobs import Blobs


class SharedPhotos:
    """Counts who still needs each photo, by hash. For many threads."""

    def __init__(self, blobs: Blobs) -> None:
        self._blobs = blobs
        self._lock = threading.Lock()
        self._needed: Counter[str] = Counter()

    def take(self, photos: Iterable[str]) -> None:
        """Somebody needs these photos from now on: said before any of them is fetched."""
        with self._lock:
            self._needed.update(photos)

    def give_back(self, photos: Iterable[str]) -> None:
        """One who took these photos needs them no more; what nobody needs is forgotten."""
        with self._lock:
            for sha256 in photos:
                self._needed[sha256] -= 1
                if self._needed[sha256] <= 0:
                    del self._needed[sha256]
                    self._blobs.forget(sha256)
