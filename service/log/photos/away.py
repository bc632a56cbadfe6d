"""Photos in a store, used as if they lay in the data folder: sent behind the answer, fetched when they are asked for.

A post waits for the bench computer's own disk alone: its photo is there, whole and synced, before it is read, and a
link to it in ``outgoing`` stays until the store has it. So a store that is away costs no photo and no post. Copies of
what was sent or fetched stay in the folder of photos within a bound, those asked for last the longest.
"""

from __future__ import annotations

import contextlib
import hashlib
import logging
import os
import secrets
import shutil
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path
from weakref import finalize

from service.log.blobs import Blobs, hash_of, is_hash, sync_folder
from service.log.photos.lined_up import OUTGOING, line_up
from service.log.photos.store import NotTheSame, Store, StoreAway

log = logging.getLogger("stripread.photos")
_FIRST_WAIT, _LONGEST_WAIT = 1.0, 30.0  # seconds between two tries to reach a store that is away
_IN_USE = 600.0  # seconds for which a copy is not removed after it was asked for: a reader may be about to open it


class StoredBlobs(Blobs):
    """Photos whose place is a store.

    Parameters
    ----------
    root
        The folder of photos: copies, those not sent yet among them.
    reading
        Photos are only read: what is fetched goes into a folder that is gone with this object.
    bound
        Bytes of copies that are kept.
    """

    def __init__(self, root: Path, store: Store, *, reading: bool = False, bound: int = 2 << 30) -> None:
        super().__init__(root, reading=reading)
        self.store = store
        self.outgoing = root.parent / OUTGOING
        self._bound = bound
        self._making = threading.Lock()
        self._some = threading.Event()
        self._end = threading.Event()
        self._sender: threading.Thread | None = None
        self._reading = reading
        self._fetched: Blobs | None = None
        self._told: set[str] = set()  # photos of which was said that they can't be sent
        self._added = bound  # bytes since the copies were last counted: counted at the first chance
        if not reading:
            self.outgoing.mkdir(exist_ok=True)
            sync_folder(root.parent)

    def here(self, sha256: str) -> Path:
        """A file on this computer with the photo: the copy that is here, or one fetched and held against its hash.

        Raises
        ------
        StoreAway, NotTheSame
        """
        place = self.path(sha256)
        with contextlib.suppress(OSError):
            os.utime(place)  # asked for now
        if place.exists():
            return place
        waiting = self.outgoing / sha256
        if waiting.exists():
            return waiting
        other = self._copies().path(sha256)
        if other.exists():
            return other
        try:
            return self._fetch(sha256)
        except FileNotFoundError:
            return place  # opened, it says that it is not there, as in a folder

    def here_whole(self, sha256: str) -> Path | None:
        """As ``here``: the copy, what waits, or what the store has, whichever is what its hash says.

        Raises
        ------
        StoreAway
        """
        if not is_hash(sha256):
            return None
        if self.whole_copy(sha256):
            return self.path(sha256)
        waiting = self.outgoing / sha256
        with contextlib.suppress(OSError):
            if hash_of(waiting) == sha256:
                return waiting
        try:
            return self._fetch(sha256)
        except (FileNotFoundError, NotTheSame):
            return None

    def _fetch(self, sha256: str) -> Path:
        """Where the store's photo was put, instead of what had its name."""
        data = self.store.get(sha256)
        copies = self._copies()
        other = copies.path(sha256)
        temporary = copies.incoming / secrets.token_hex(16)
        try:
            with temporary.open("xb") as out:
                out.write(data)
                out.flush()
                os.fsync(out.fileno())
            Blobs.named(copies, temporary, sha256)
        finally:
            temporary.unlink(missing_ok=True)
        self._count(len(data))
        return other

    def _copies(self) -> Blobs:
        with self._making:
            if self._reading and self._fetched is None:
                scratch = tempfile.mkdtemp(prefix="stripread-")
                finalize(self, shutil.rmtree, scratch, ignore_errors=True)
                self._fetched = Blobs(Path(scratch) / "photos")
            return self._fetched or self

    def named(self, temporary: Path, sha256: str) -> None:
        """Give a photo that is on the disk its name, and line it up for the store before that."""
        line_up(temporary, self.outgoing / sha256)
        sync_folder(self.outgoing)
        super().named(temporary, sha256)
        self._count(self.path(sha256).stat().st_size)
        self._some.set()

    def waiting(self) -> list[str]:
        """Hashes of the photos that the store has not got yet, the oldest first."""
        if not self.outgoing.is_dir():
            return []
        found = []
        for path in self.outgoing.iterdir():
            if not is_hash(path.name):
                continue  # what was damaged
            with contextlib.suppress(OSError):  # sent since
                found.append((path.stat().st_mtime, path.name))
        return [name for _at, name in sorted(found)]

    def send(self, told: Callable[[int, int], None] = lambda _done, _of: None) -> int:
        """Send what waits, now; how many were sent. One that can't be sent for a reason of its own holds up no other.

        Raises
        ------
        StoreAway
            If the store does not take one; the others wait as before.
        """
        waiting, sent = self.waiting(), 0
        for done, sha256 in enumerate(waiting):
            told(done, len(waiting))
            try:
                sent += self._send(sha256)
            except StoreAway:
                raise
            except OSError as problem:
                if sha256 not in self._told:  # once, and not at every round
                    log.error("photo %s can't be sent to the store: %s", sha256, problem.strerror or problem)
                self._told.add(sha256)
        told(len(waiting), len(waiting))
        return sent

    def _send(self, sha256: str) -> bool:
        """Whether the store has got it by this; where not, it is damaged and no copy of it is whole."""
        path = self.outgoing / sha256
        try:
            data = path.read_bytes()
        except FileNotFoundError:
            return False  # somebody else sent it
        if hashlib.sha256(data).hexdigest() != sha256:
            log.error("photo %s was damaged on this computer's disk: it is not sent", sha256)
            path.rename(path.with_name(f"{sha256}.damaged"))
            if not self.whole_copy(sha256):
                return False
            line_up(self.path(sha256), path)
            data = path.read_bytes()
        self.store.put(sha256, data)
        path.unlink(missing_ok=True)
        return True

    def send_now(self) -> None:
        """Send what waits; a store that is away gets it from the service or the next command."""
        try:
            self.send()
        except OSError as problem:
            log.warning("%s; %d photos wait on this computer's disk", problem.strerror or problem, len(self.waiting()))

    def start_sending(self) -> None:
        """Send behind everything else from now on, as photos come and the store answers."""
        self._sender = threading.Thread(target=self._go_on_sending, name="photos to the store", daemon=True)
        self._sender.start()

    def _go_on_sending(self) -> None:
        wait = 0.0
        while not self._end.wait(wait):
            self._some.clear()
            try:
                self.send()
                self.tidy()
                wait = 0.0
                self._some.wait(_LONGEST_WAIT)
            except StoreAway as problem:
                if not wait:
                    log.warning("%s; %d photos wait on this computer's disk", problem.strerror, len(self.waiting()))
                wait = min(max(_FIRST_WAIT, wait * 2), _LONGEST_WAIT)
            except OSError as problem:
                log.warning("photos can't be sent to the store: %s", problem)
                wait = _LONGEST_WAIT

    def close(self) -> None:
        """End the sending; what still waits is sent after the next start."""
        self._end.set()
        self._some.set()
        if self._sender is not None:
            self._sender.join(5)  # a put that is cut off is none, and made again

    def forget(self, sha256: str) -> None:
        """A copy that was fetched only to be read once is not needed any more."""
        if self._fetched is not None:
            self._fetched.path(sha256).unlink(missing_ok=True)

    def _count(self, size: int) -> None:
        self._added += size

    def tidy(self) -> None:
        """Remove copies over the bound, those not asked for the longest first; none that the store has not got.

        The store itself is asked: a copy that it has not got, or of another size, stays, and is lined up for it if it
        is whole.

        Raises
        ------
        StoreAway
        """
        if self._added < self._bound // 8:
            return
        self._added = 0
        copies = []
        for sha256 in self.all():
            with contextlib.suppress(OSError, ValueError):  # gone since; a file that is no photo
                about = self.path(sha256).stat()
                copies.append((about.st_mtime, about.st_size, sha256))
        over = sum(size for _at, size, _sha in copies) - self._bound
        for at, size, sha256 in sorted(copies):
            if over <= 0 or at > time.time() - _IN_USE:
                return
            if (self.outgoing / sha256).exists():
                continue
            if self._has(sha256, size):
                self.path(sha256).unlink(missing_ok=True)
                over -= size
            elif self.whole_copy(sha256):
                line_up(self.path(sha256), self.outgoing / sha256)
                self._some.set()

    def _has(self, sha256: str, size: int) -> bool:
        try:
            return self.store.size(sha256) == size
        except StoreAway:
            self._added = self._bound  # counted anew once it answers
            raise
