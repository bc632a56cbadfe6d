"""A JPEG's segments (ITU-T T.81, annex B): its header, and its first picture alone, without a byte of anything else.

In a multi-picture file, a motion photo or a file with a trailer the first picture ends at its own end mark; what
follows belongs to others and is left away. A file that ends before that mark was cut off.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from stripread.imagefile.exif import exif_camera, exif_facts, exif_lens
from stripread.imagefile.header import MAX_ICC, Header, check_parts, cut_off, not_a_picture
from stripread.words import _

_NEXT = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]")  # the next marker after entropy coded data
_OTHER_CODINGS = {0xC3, 0xC5, 0xC6, 0xC7, 0xC9, 0xCA, 0xCB, 0xCD, 0xCE, 0xCF}  # lossless, hierarchical, arithmetic
_TABLES = {0xC4, 0xDB, 0xDD}  # DHT, DQT, DRI
_JFIF = b"\xff\xe0\x00\x10JFIF\x00\x01\x01\x00\x00\x01\x00\x01\x00\x00"
_MODES = {1: "L", 3: "RGB", 4: "CMYK"}
MAX_SCANS = 64  # the common progressive script has 10, the longest in use about 25 (from memory)
MAX_COEFFICIENTS = (
    1_600_000_000  # visited by all scans together: a second of decoding. 48 MP in 10 scans: 0.7 thousand million
)


@dataclass
class _Frame:
    size: tuple[int, int]
    progressive: bool
    blocks: dict[int, int]  # of each component
    left: dict[int, list[int | None]]  # of each component and coefficient: bits still to come, None when none came


@dataclass
class _Walk:
    out: list[bytes | memoryview] = field(default_factory=lambda: [b"\xff\xd8"])
    frame: _Frame | None = None
    scans: int = 0
    visited: int = 0
    jfif: bool = False
    adobe: int | None = None
    exif: bytes | None = None
    icc: dict[int, bytes] = field(default_factory=dict)


def read_jpeg(data: bytes) -> Header:
    """Read the header of a JPEG and take its first picture out.

    Raises
    ------
    Refused
        ``not_a_picture`` when it is not built as it should be or is past the limits, ``file_cut_off``.
    """
    walk, at, parts = _Walk(), 2, 0
    while True:
        at = data.find(b"\xff", at)
        if at < 0 or at + 2 > len(data):
            raise cut_off(_("it has no end"))
        marker = data[at + 1]
        if marker == 0xD9:
            break
        if marker in (0x00, 0x01, 0xFF) or 0xD0 <= marker <= 0xD8:  # fill bytes, and markers without a length
            at += 1 if marker == 0xFF else 2
            continue
        parts += 1
        check_parts(parts, "segments")
        end = at + 2 + int.from_bytes(data[at + 2 : at + 4], "big")
        if end > len(data):
            raise cut_off(_("it ends within a segment"))
        if end < at + 4:
            raise not_a_picture(_("damaged: a segment without a length"))
        at = _segment(walk, data, marker, at, end)
    return _header(walk)


def _segment(walk: _Walk, data: bytes, marker: int, at: int, end: int) -> int:
    """Take what is wanted of one segment; returns where the next begins."""
    body = memoryview(data)[at + 4 : end]
    if marker in _OTHER_CODINGS:
        raise not_a_picture(_("a JPEG coded in a way that no phone uses"))
    if marker in (0xC0, 0xC1, 0xC2):
        if walk.frame is not None:
            raise not_a_picture(_("damaged: two frames in one picture"))
        walk.frame = _frame(bytes(body), progressive=marker == 0xC2)
    if marker in _TABLES or marker in (0xC0, 0xC1, 0xC2):
        walk.out.append(memoryview(data)[at:end])
    elif marker == 0xDA:
        return _scan(walk, data, bytes(body), end)
    else:
        _application(walk, marker, body)
    return end


def _frame(body: bytes, *, progressive: bool) -> _Frame:
    if len(body) < 6 or len(body) != 6 + 3 * body[5]:
        raise not_a_picture(_("damaged: its frame header"))
    h, w, n = int.from_bytes(body[1:3], "big"), int.from_bytes(body[3:5], "big"), body[5]
    factors = {body[6 + 3 * i]: (body[7 + 3 * i] >> 4, body[7 + 3 * i] & 15) for i in range(n)}
    if body[0] != 8 or n not in _MODES or len(factors) != n or not w or not h:
        raise not_a_picture(_("damaged: its frame header"))
    if not all(1 <= f <= 4 for pair in factors.values() for f in pair):
        raise not_a_picture(_("damaged: its sampling factors"))
    wide, high = max(a for a, _ in factors.values()), max(b for _, b in factors.values())
    units = -(-w // (8 * wide)) * -(-h // (8 * high))
    return _Frame(
        (w, h), progressive, {c: units * a * b for c, (a, b) in factors.items()}, {c: [None] * 64 for c in factors}
    )


def _scan(walk: _Walk, data: bytes, body: bytes, end: int) -> int:
    frame, n = walk.frame, body[0] if body else 0
    if frame is None or not 1 <= n <= 4 or len(body) != 4 + 2 * n:
        raise not_a_picture(_("damaged: its scan header"))
    components = [body[1 + 2 * i] for i in range(n)]
    first, last, approximation = body[1 + 2 * n :]
    if not frame.progressive:
        first, last, approximation = 0, 63, 0  # some phones write nonsense here, where only one thing can stand
    if not set(components) <= set(frame.blocks) or not first <= last <= 63:
        raise not_a_picture(_("damaged: its scan header"))
    for c in components:
        if not frame.progressive and frame.left[c][0] is not None:
            raise not_a_picture(_("damaged: a component comes twice"))
        frame.left[c][first : last + 1] = [approximation & 15] * (last + 1 - first)
        walk.visited += 64 * frame.blocks[c]
    walk.scans += 1
    if walk.scans > MAX_SCANS or walk.visited > MAX_COEFFICIENTS:
        raise not_a_picture(_("its picture is sent in more passes than any phone makes"))
    found = _NEXT.search(data, end)
    if found is None:
        raise cut_off(_("its picture has no end"))
    head = b"\xff\xda" + (len(body) + 2).to_bytes(2, "big") + body[: 1 + 2 * n] + bytes((first, last, approximation))
    walk.out += [head, memoryview(data)[end : found.start()]]
    return found.start()


def _application(walk: _Walk, marker: int, body: memoryview) -> None:
    start = bytes(body[:14])
    if marker == 0xE0 and start.startswith(b"JFIF\0"):
        walk.jfif = True
    elif marker == 0xEE and start.startswith(b"Adobe") and len(body) >= 12:
        walk.adobe = body[11]
    elif marker == 0xE1 and start.startswith(b"Exif\0") and walk.exif is None:
        walk.exif = bytes(body)
    elif marker == 0xE2 and start.startswith(b"ICC_PROFILE\0") and len(start) == 14:
        walk.icc.setdefault(start[12], bytes(body[14:]))


def _header(walk: _Walk) -> Header:
    frame = walk.frame
    if frame is None or not walk.scans:
        raise not_a_picture(_("damaged: a JPEG without a picture"))
    if any(bits[0] != 0 for bits in frame.left.values()) or any(b != 0 for b in next(iter(frame.left.values()))):
        raise cut_off(_("some of its passes are missing"))
    prefix = [walk.out[0]]
    if walk.jfif:
        prefix.append(_JFIF)
    if walk.adobe is not None:
        prefix.append(b"\xff\xee\x00\x0eAdobe\x00\x64\x00\x00\x00\x00" + bytes([walk.adobe]))
    bare = b"".join([*prefix, *walk.out[1:], b"\xff\xd9"])
    orientation, taken_at = exif_facts(walk.exif)
    icc = b"".join(walk.icc[n] for n in sorted(walk.icc))
    # Whole coefficients are kept when the picture comes in several scans: 64 of two bytes a block.
    held = 128 * sum(frame.blocks.values()) if walk.scans > 1 else 0
    mode = _MODES[len(frame.blocks)]
    return Header(
        "JPEG",
        mode,
        frame.size,
        bare,
        held,
        orientation,
        icc if 0 < len(icc) <= MAX_ICC else None,
        taken_at,
        inverted=mode == "CMYK" and walk.adobe is not None,
        camera=exif_camera(walk.exif),
        lens=exif_lens(walk.exif),
    )
