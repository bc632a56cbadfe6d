"""A store of photos by URL, through fsspec: each named by its SHA-256, put there whole, held against it when read.

Options (keys, the address of a store of one's own) come from the environment alone, as fsspec itself reads them:
``FSSPEC_S3_ENDPOINT_URL`` and the like (fsspec's documentation, "Configuration"), for S3 also ``AWS_ACCESS_KEY_ID`` and
its kin. So no secret stands in a command line or in the data folder.
"""

from __future__ import annotations

import base64
import errno
import hashlib
import logging
import secrets
import threading
import time
from collections.abc import Callable
from typing import Any, TypeVar

from service.log.blobs import is_hash
from stripread.errors import CallError
from stripread.words import _

log = logging.getLogger("stripread.photos")
T = TypeVar("T")
RESTS = 5.0  # seconds for which a store that did not answer is not asked again: each ask would wait for it anew
# A put there is seen whole or not at all; elsewhere a file is written beside and then gets its name.
_WHOLE_PUTS = {"s3", "s3a", "gs", "gcs", "az", "abfs", "abfss"}
SCHEMES = ("s3", "s3a", "gs", "gcs", "az", "abfs", "abfss", "file")  # others keep nothing for long, or nothing whole
_S3 = {"s3", "s3a"}
# botocore's own are 60 s each and five tries: a phone would wait for minutes.
_S3_WAITS = {"connect_timeout": 5, "read_timeout": 20, "retries": {"max_attempts": 1}}


class StoreAway(OSError):  # noqa: N818 - what it is, in the house's words
    """The store does not answer, or does not let us in: nothing is wrong with the photo, and later it may be there."""

    def __init__(self, url: str, why: str) -> None:
        super().__init__(errno.EHOSTUNREACH, _("the store of photos {url} can't be used now: {why}", url=url, why=why))


class NotTheSame(OSError):  # noqa: N818
    """What lies in the store under a hash is not what has that hash."""

    def __init__(self, url: str, sha256: str) -> None:
        super().__init__(errno.EIO, _("photo {sha256} in {url} is not what it was", sha256=sha256, url=url))


class Store:
    """Photos by hash under one URL, in the same folders by their first two digits as on a disk. For many threads."""

    def __init__(self, url: str) -> None:
        self._fs, self._root = _opened(url)
        self.url = url.rstrip("/")
        self._protocol = self.url.split("://", 1)[0]
        self._not_before = 0.0
        self._lock = threading.Lock()

    def put(self, sha256: str, data: bytes) -> None:
        """Put a photo there; when this returns, the store has it whole.

        S3 itself holds it against the hash (its header x-amz-checksum-sha256); from others it is read back once.

        Raises
        ------
        StoreAway
            If the store does not take it.
        NotTheSame
            If what it took is something else.
        """
        place = self._place(sha256)
        if self._protocol in _S3:
            digest = base64.b64encode(bytes.fromhex(sha256)).decode()
            self._asked(lambda: self._fs.pipe_file(place, data, ChecksumSHA256=digest), missing=False)
            return
        self._asked(lambda: self._put_whole(place, data), missing=False)
        self.get(sha256)

    def _put_whole(self, place: str, data: bytes) -> None:
        self._fs.makedirs(place.rsplit("/", 1)[0], exist_ok=True)
        if self._protocol in _WHOLE_PUTS:
            self._fs.pipe_file(place, data)
            return
        beside = f"{self._root}/incoming/{secrets.token_hex(16)}"
        self._fs.makedirs(f"{self._root}/incoming", exist_ok=True)
        try:
            self._fs.pipe_file(beside, data)
            self._fs.mv(beside, place)
        finally:
            if self._fs.exists(beside):
                self._fs.rm_file(beside)

    def get(self, sha256: str) -> bytes:
        """A photo's bytes, held against its hash.

        Raises
        ------
        FileNotFoundError
            If the store has none of this hash.
        StoreAway, NotTheSame
        """
        place = self._place(sha256)
        data: bytes = self._asked(lambda: self._fs.cat_file(place))
        if hashlib.sha256(data).hexdigest() != sha256:
            raise NotTheSame(self.url, sha256)
        return data

    def size(self, sha256: str) -> int | None:
        """Bytes of what the store has under this hash, which is not read; None if it has nothing.

        Raises
        ------
        StoreAway
        """
        place = self._place(sha256)
        try:
            return int(self._asked(lambda: self._fs.info(place))["size"])
        except FileNotFoundError:
            return None

    def sizes(self, folder: str) -> dict[str, int]:
        """What lies below one folder of the store ("" for all of it): names from its root, with sizes in bytes.

        Raises
        ------
        StoreAway
        """
        root = f"{self._root}/{folder}".rstrip("/")
        found = self._asked(lambda: self._fs.find(root, detail=True), missing=False)
        return {name[len(self._root) + 1 :]: int(about["size"] or 0) for name, about in found.items()}

    def tops(self) -> list[str]:
        """The names at the store's root, folders and files.

        Raises
        ------
        StoreAway
        """
        try:
            found = self._asked(lambda: self._fs.ls(self._root, detail=False))
        except FileNotFoundError:
            return []
        return sorted(str(name).rstrip("/").rsplit("/", 1)[-1] for name in found)

    def look(self) -> None:
        """See whether it answers and lets us in.

        Raises
        ------
        StoreAway
        """
        if self._protocol in _S3:  # a bucket must be there; a folder in it is made by its first photo
            self._asked(lambda: self._fs.ls(self._root.split("/", 1)[0]), missing=False)
        else:
            self._asked(lambda: self._fs.makedirs(self._root, exist_ok=True), missing=False)

    def _place(self, sha256: str) -> str:
        if not is_hash(sha256):
            raise ValueError(_("not a SHA-256"))
        return f"{self._root}/{sha256[:2]}/{sha256}"

    def _asked(self, act: Callable[[], T], *, missing: bool = True) -> T:
        """What the store answers. ``missing``: a name that is not there is an answer, too."""
        if time.monotonic() < self._not_before:
            raise StoreAway(self.url, _("it did not answer a moment ago"))
        try:
            return act()
        except Exception as trouble:  # each store has its own errors, with no class in common
            if missing and isinstance(trouble, FileNotFoundError):
                raise
            # Refused is not away: the next photo may be let in at once, and nothing waits.
            if not isinstance(trouble, FileNotFoundError | PermissionError):
                with self._lock:
                    self._not_before = time.monotonic() + RESTS
            raise StoreAway(self.url, str(trouble) or type(trouble).__name__) from None


def _scheme(url: str) -> str:
    """What stands before ``://``.

    Raises
    ------
    CallError
        If this is no store's URL. One with a password is not repeated: what is printed may be read by others.
    """
    scheme, slashes, rest = url.partition("://")
    if "@" in (rest or url).partition("/")[0] or (scheme != "file" and "?" in rest):
        raise CallError(_("a store's URL holds no name, no key and no options: they come from the environment"))
    if not slashes or not rest.strip("/") or (scheme == "file" and not rest.startswith("/")):
        raise CallError(_("{url} is no store's URL: write s3://BUCKET/FOLDER", url=url))
    if scheme not in SCHEMES:
        known = ", ".join(SCHEMES)
        text = _("no photos are kept at {url}: a store's URL begins with one of {known}", url=url, known=known)
        raise CallError(text)
    return scheme


def _opened(url: str) -> tuple[Any, str]:
    """The file system of a URL with the options of the environment, and its root in it.

    Raises
    ------
    CallError
        If the URL names none that is installed.
    """
    try:
        import fsspec  # noqa: PLC0415 - only a log whose photos are in a store needs it
        from fsspec.config import apply_config, set_conf_env  # noqa: PLC0415
    except ImportError:
        raise CallError(_("photos in a store need a further package: pip install 'stripread[stores]'")) from None
    protocol = _scheme(url)
    try:
        cls = fsspec.get_filesystem_class(protocol)
        said: dict[str, Any] = {}
        set_conf_env(said)
        options = apply_config(cls, {}, said)
        if protocol in _S3:
            options = {"config_kwargs": _S3_WAITS, **options}
        # A listing that was kept would hide what others have put there since.
        made = cls(use_listings_cache=False, skip_instance_cache=True, **options)
        if protocol in _S3:
            made.retries = 2
        return made, str(made._strip_protocol(url)).rstrip("/")
    except (ImportError, ValueError, TypeError) as problem:
        raise CallError(_("can't use the store {url}: {problem}", url=url, problem=problem)) from None
