"""Authority and certificate of a running service: opened once, renewed in time, loaded into the server's context."""

from __future__ import annotations

import ssl
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from service.authority.leaf import Leaf, due, kept_leaf, make_leaf
from service.authority.private_file import private_folder
from service.authority.root import Root, kept_root

FOLDER = "tls"  # in the data folder; no back-up has it


class Keeper:
    """The certificates of one data folder.

    ``names`` tells the names and addresses that this computer has at a moment: they change as networks do.
    """

    def __init__(
        self,
        data: Path,
        names: Callable[[], frozenset[str]],
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        self._folder = private_folder(data / FOLDER)
        self._names, self._now = names, now
        self.root: Root = kept_root(self._folder, now())
        self.leaf: Leaf = kept_leaf(self._folder, self.root, names(), now())
        self.context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        self.context.minimum_version = ssl.TLSVersion.TLSv1_2  # RFC 8996: older ones must not be used
        self.context.load_cert_chain(self.leaf.path)

    def renew(self) -> bool:
        """Make a new certificate where it is time for one; the next connection gets it. True if one was made."""
        now, names = self._now(), self._names()
        if not due(self.leaf.certificate, self.root, names, now):
            return False
        self.leaf = make_leaf(self._folder, self.root, names, now)
        self.context.load_cert_chain(self.leaf.path)
        return True
