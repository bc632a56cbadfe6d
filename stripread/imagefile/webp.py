"""A WebP's chunks (RFC 9649): its header, and its picture, of an animation the first, as a plain file."""

from __future__ import annotations

from collections.abc import Iterator

from stripread.imagefile.exif import exif_camera, exif_facts, exif_lens
from stripread.imagefile.header import MAX_ICC, Header, check_parts, cut_off, not_a_picture
from stripread.words import _


def read_webp(data: bytes) -> Header:
    """Read the header of a WebP and take its picture out.

    Raises
    ------
    Refused
        ``not_a_picture`` when it is not built as it should be or is past the limits, ``file_cut_off``.
    """
    end = 8 + int.from_bytes(data[4:8], "little")
    if end > len(data):
        raise cut_off(_("it is shorter than it says"))
    found: dict[bytes, bytes] = {}
    for kind, body in _chunks(data, 12, end):
        if kind == b"ANMF" and not {b"VP8 ", b"VP8L"} & set(found):
            for inner, part in _chunks(body, 16, len(body)):
                found.setdefault(inner, part)
        found.setdefault(kind, body)
    coded = found.get(b"VP8 ") or found.get(b"VP8L")
    if not coded:
        raise not_a_picture(_("damaged: a WebP without a picture"))
    lossless = not found.get(b"VP8 ")
    w, h, alpha = _lossless_size(coded) if lossless else (*_lossy_size(coded), b"ALPH" in found)
    if lossless or not alpha:
        bare = _riff((b"VP8L" if lossless else b"VP8 ", coded))
    else:
        extended = b"\x10\0\0\0" + (w - 1).to_bytes(3, "little") + (h - 1).to_bytes(3, "little")
        bare = _riff((b"VP8X", extended), (b"ALPH", found[b"ALPH"]), (b"VP8 ", coded))
    orientation, taken_at = exif_facts(found.get(b"EXIF"))
    icc = found.get(b"ICCP")
    held = w * h * (3 + 4 * lossless + 3 * alpha)
    icc = icc if icc and len(icc) <= MAX_ICC else None
    camera, mode = exif_camera(found.get(b"EXIF")), "RGBA" if alpha else "RGB"
    return Header(
        "WEBP", mode, (w, h), bare, held, orientation, icc, taken_at, camera=camera, lens=exif_lens(found.get(b"EXIF"))
    )


def _chunks(data: bytes, at: int, end: int) -> Iterator[tuple[bytes, bytes]]:
    parts = 0
    while at + 8 <= end:
        n = int.from_bytes(data[at + 4 : at + 8], "little")
        if at + 8 + n > end:
            raise cut_off(_("it ends within a chunk"))
        parts += 1
        check_parts(parts, "chunks")
        yield data[at : at + 4], data[at + 8 : at + 8 + n]
        at += 8 + n + n % 2


def _lossy_size(coded: bytes) -> tuple[int, int]:
    """From the key frame's header, RFC 6386, section 9.1."""
    if len(coded) < 10 or coded[0] & 1 or coded[3:6] != b"\x9d\x01\x2a":
        raise not_a_picture(_("damaged: its frame header"))
    return int.from_bytes(coded[6:8], "little") & 0x3FFF, int.from_bytes(coded[8:10], "little") & 0x3FFF


def _lossless_size(coded: bytes) -> tuple[int, int, bool]:
    """From the lossless header, RFC 9649, section 3.4; the last says whether it has transparency."""
    if len(coded) < 5 or coded[0] != 0x2F:
        raise not_a_picture(_("damaged: its frame header"))
    bits = int.from_bytes(coded[1:5], "little")
    return (bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1, bool(bits >> 28 & 1)


def _riff(*chunks: tuple[bytes, bytes]) -> bytes:
    body = b"".join(kind + len(part).to_bytes(4, "little") + part + b"\0" * (len(part) % 2) for kind, part in chunks)
    return b"RIFF" + (len(body) + 4).to_bytes(4, "little") + b"WEBP" + body
