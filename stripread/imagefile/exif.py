"""The facts wanted of EXIF: which way up, when, by which camera and lens. A broken block says nothing."""

from __future__ import annotations

import struct
from datetime import datetime

MAKE, MODEL = 271, 272  # TIFF tags that EXIF 2.32 takes over, table 3
ORIENTATION, EXIF_IFD, TAKEN, OFFSET = 274, 0x8769, 36867, 36881  # EXIF 2.32, tables 4 and 7
FOCAL_LENGTH, LENS_MODEL = 37386, 42036  # EXIF 2.32, of the EXIF directory
MAX_ENTRIES = 1000  # of one directory
LONGEST_LENS = 128  # bytes; of a make, a model and a time 64


def exif_facts(block: bytes | None) -> tuple[int, str | None]:
    """Orientation (1 when absent or nonsense) and the time taken (ISO 8601) of an EXIF block."""
    block, order = _tiff(block)
    if not order:
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
    block, order = _tiff(block)
    if not order:
        return "", ""
    try:
        first = _directory(block, struct.unpack_from(order + "I", block, 4)[0], order)
        make, model = (_text(block, first.get(tag), order) or "" for tag in (MAKE, MODEL))
    except struct.error:
        return "", ""
    return _printable(make), _printable(model)


def exif_lens(block: bytes | None) -> str:
    """Lens and focal length as an EXIF block has them, ``"rear 5.4 mm"``; empty where it says neither.

    A phone has several cameras of one name: their lenses tell them apart.
    """
    block, order = _tiff(block)
    if not order:
        return ""
    try:
        first = _directory(block, struct.unpack_from(order + "I", block, 4)[0], order)
        if EXIF_IFD not in first:
            return ""
        detail = _directory(block, struct.unpack_from(order + "I", block, first[EXIF_IFD] + 8)[0], order)
        lens = _printable(_text(block, detail.get(LENS_MODEL), order, LONGEST_LENS) or "")
        focal = _ratio(block, detail.get(FOCAL_LENGTH), order)
    except struct.error:
        return ""
    return " ".join([*([lens] if lens else []), *([] if focal is None else [f"{focal:.4g} mm"])])


def _tiff(block: bytes | None) -> tuple[bytes, str]:
    """The block from its TIFF header on, and its byte order as ``struct`` has it; "" where it is no EXIF."""
    if block is None:
        return b"", ""
    if block[:6] in (b"Exif\0\0", b"Exif\0\xff"):
        block = block[6:]
    return block, {b"II*\0": "<", b"MM\0*": ">"}.get(block[:4], "")


def _ratio(block: bytes, place: int | None, order: str) -> float | None:
    """A positive rational (EXIF 2.32, type 5); None where there is none."""
    if place is None:
        return None
    kind, n, at = struct.unpack_from(order + "2xHII", block, place)
    if kind != 5 or n < 1:
        return None
    over, under = struct.unpack_from(order + "2I", block, at)
    return over / under if over and under else None


def _printable(text: str) -> str:
    return "".join(ch for ch in text.split("\0", 1)[0] if ch.isprintable()).strip()


def _directory(block: bytes, at: int, order: str) -> dict[int, int]:
    """Tag to the place of its 12-byte entry."""
    n = min(struct.unpack_from(order + "H", block, at)[0], MAX_ENTRIES)
    places = [at + 2 + 12 * i for i in range(n) if at + 14 + 12 * i <= len(block)]
    return {struct.unpack_from(order + "H", block, place)[0]: place for place in places}


def _text(block: bytes, place: int | None, order: str, most: int = 64) -> str | None:
    if place is None:
        return None
    kind, n, at = struct.unpack_from(order + "2xHII", block, place)
    if kind != 2 or n > most:
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
