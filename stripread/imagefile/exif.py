"""The facts wanted of EXIF: which way up, when, by which camera. A broken block says nothing and spoils nothing."""

from __future__ import annotations

import struct
from datetime import datetime

MAKE, MODEL = 271, 272  # TIFF tags that EXIF 2.32 takes over, table 3
ORIENTATION, EXIF_IFD, TAKEN, OFFSET = 274, 0x8769, 36867, 36881  # EXIF 2.32, tables 4 and 7
MAX_ENTRIES = 1000  # of one directory


def exif_facts(block: bytes | None) -> tuple[int, str | None]:
    """Orientation (1 when absent or nonsense) and the time taken (ISO 8601) of an EXIF block."""
    if block is None:
        return 1, None
    if block[:6] in (b"Exif\0\0", b"Exif\0\xff"):
        block = block[6:]
    order = {b"II*\0": "<", b"MM\0*": ">"}.get(block[:4])
    if order is None:
        return 1, None
    try:
        first = _directory(block, struct.unpack_from(order + "I", block, 4)[0], order)
        turn = struct.unpack_from(order + "H", block, first[ORIENTATION] + 8)[0] if ORIENTATION in first else 1
        detail: dict[int, int] = {}
        if EXIF_IFD in first:
            detail = _directory(block, struct.unpack_from(order + "I", block, first[EXIF_IFD] + 8)[0], order)
        taken = _iso_time(_text(block, detail.get(TAKEN), order), _text(block, detail.get(OFFSET), order))
    except struct.error:
        return 1, None
    return (turn if turn in range(1, 9) else 1), taken


def exif_camera(block: bytes | None) -> tuple[str, str]:
    """Make and model as an EXIF block has them, without what can't be printed; empty where it says nothing."""
    if block is None:
        return "", ""
    if block[:6] in (b"Exif\0\0", b"Exif\0\xff"):
        block = block[6:]
    order = {b"II*\0": "<", b"MM\0*": ">"}.get(block[:4])
    if order is None:
        return "", ""
    try:
        first = _directory(block, struct.unpack_from(order + "I", block, 4)[0], order)
        make, model = (_text(block, first.get(tag), order) or "" for tag in (MAKE, MODEL))
    except struct.error:
        return "", ""
    return _printable(make), _printable(model)


def _printable(text: str) -> str:
    return "".join(ch for ch in text.split("\0", 1)[0] if ch.isprintable()).strip()


def _directory(block: bytes, at: int, order: str) -> dict[int, int]:
    """Tag to the place of its 12-byte entry."""
    n = min(struct.unpack_from(order + "H", block, at)[0], MAX_ENTRIES)
    places = [at + 2 + 12 * i for i in range(n) if at + 14 + 12 * i <= len(block)]
    return {struct.unpack_from(order + "H", block, place)[0]: place for place in places}


def _text(block: bytes, place: int | None, order: str) -> str | None:
    if place is None:
        return None
    kind, n, at = struct.unpack_from(order + "2xHII", block, place)
    if kind != 2 or n > 64:
        return None
    raw = block[place + 8 : place + 8 + n] if n <= 4 else block[at : at + n]
    return raw.decode("latin-1")


def _iso_time(when: str | None, offset: str | None) -> str | None:
    """EXIF's ``YYYY:MM:DD hh:mm:ss`` (and ``+hh:mm``) as ISO 8601; None when it is not a date."""
    if when is None:
        return None
    try:
        taken = datetime.strptime(when.strip("\0 "), "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None
    if offset is not None:
        try:
            return datetime.fromisoformat(taken.isoformat() + offset.strip("\0 ")).isoformat()
        except ValueError:
            pass
    return taken.isoformat()
