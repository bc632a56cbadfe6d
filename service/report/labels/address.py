"""Where a label's code leads: the bench page with the batch chosen."""

from __future__ import annotations

from urllib.parse import urlsplit

from stripread.errors import CallError
from stripread.words import _

LONGEST = 200  # characters: a longer one makes a code that a phone can't read from 20 mm


def page_root(text: str) -> str:
    """The page's address as people type it, without anything behind its port: "http://bench.local:8000".

    Raises
    ------
    CallError
        If it is none.
    """
    try:
        parts = urlsplit(text.strip())
        host, port = parts.hostname, parts.port
    except ValueError:
        host, port = None, None
    printable = text.strip().isascii() and text.strip().isprintable() and " " not in text.strip()
    plain = printable and parts.path in ("", "/") and not (parts.query or parts.fragment or parts.username)
    if parts.scheme not in ("http", "https") or not host or not plain or port == 0 or len(text) > LONGEST:
        form = _(
            "--address: give the page's address as a phone opens it, http://192.168.1.5:8000, not {text!r}", text=text
        )
        raise CallError(form)
    return f"{parts.scheme}://{parts.netloc}"


def batch_address(root: str, batch: int) -> str:
    """The page with a batch chosen. It stands behind the `#`: the page's own, and in no log of addresses."""
    return f"{root}/#batch={batch}"
