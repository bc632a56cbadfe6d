"""Where a label's code leads: the bench page with a batch or one of its vessels chosen; such a code read again."""

from __future__ import annotations

import re
from dataclasses import dataclass
from urllib.parse import urlsplit

from service.bench.ledger.marks import vessel_mark
from service.bench.notes.of_vessels import STOCK
from stripread.errors import CallError
from stripread.words import _

LONGEST = 200  # characters: a longer one makes a code that a phone can't read from 20 mm
_BATCH = re.compile(r"batch=(\d{1,15})")
_VESSEL = re.compile(r"vessel=(?:(\d{1,15})\.)?([a-z2-7]{4})\.(~?[a-z0-9]{1,12})")


@dataclass(frozen=True)
class Named:
    """What a label's code names: a batch (None: of none, the stock vessel), the mark of its log and of a vessel in it.

    A code from before vessels had one of their own names a batch alone.
    """

    batch: int | None
    log: str | None = None
    vessel: str | None = None


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


def vessel_address(root: str, batch: int, log: str, key: str) -> str:
    """The page with a vessel shown, by the batch's number, the log's mark and the vessel's key; the stock vessel's has
    no batch. Without a mark (a log of the older form) only the batch."""
    if not log:
        return batch_address(root, batch)
    of = "" if key == STOCK else f"{batch}."
    return f"{root}/#vessel={of}{log}.{vessel_mark(key)}"


def named_by(text: str) -> Named | None:
    """What a code names; None where it is no label's."""
    fragment = text.partition("#")[2]
    if found := _BATCH.fullmatch(fragment):
        return Named(int(found[1]))
    if found := _VESSEL.fullmatch(fragment):
        return Named(int(found[1]) if found[1] else None, found[2], found[3])
    return None
