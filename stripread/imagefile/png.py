"""A PNG's chunks (W3C PNG, third edition, section 5): its header, and the chunks that make its picture."""

from __future__ import annotations

import zlib

from stripread.imagefile.exif import exif_camera, exif_facts, exif_lens
from stripread.imagefile.header import MAX_ICC, Header, check_parts, cut_off, not_a_picture
from stripread.words import _

SIGNATURE = b"\x89PNG\r\n\x1a\n"
MAX_RAW_BYTES = 130_000_000  # of inflated pixels: 43 MP of 8 bits, 21 MP of 16 bits; 1.5 s
_CHANNELS = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}  # of a colour type
_MODES = {0: "L", 2: "RGB", 3: "P", 4: "LA", 6: "RGBA"}


def read_png(data: bytes) -> Header:
    """Read the header of a PNG and take its picture out; checksums of what makes the picture are checked.

    Raises
    ------
    Refused
        ``not_a_picture`` when it is not built as it should be or is past the limits, ``file_cut_off``.
    """
    out: list[bytes | memoryview] = [SIGNATURE]
    found: dict[bytes, bytes] = {}
    at, parts, pixels, view = 8, 0, 0, memoryview(data)
    while True:
        if at + 12 > len(data):
            raise cut_off(_("it has no end"))
        n, kind = int.from_bytes(data[at : at + 4], "big"), data[at + 4 : at + 8]
        end = at + 12 + n
        if end > len(data):
            raise cut_off(_("it ends within a chunk"))
        parts += 1
        check_parts(parts, "chunks")
        if parts == 1 and (kind != b"IHDR" or n != 13):
            raise not_a_picture(_("damaged: its header"))
        if kind in (b"IHDR", b"PLTE", b"tRNS", b"IDAT", b"IEND"):
            if zlib.crc32(view[at + 4 : end - 4]) != int.from_bytes(data[end - 4 : end], "big"):
                raise cut_off(_("its checksum is wrong"))
            out.append(view[at:end])
            pixels += n if kind == b"IDAT" else 0
        if kind in (b"IHDR", b"eXIf", b"iCCP") and kind not in found:
            found[kind] = data[at + 8 : end - 4]
        at = end
        if kind == b"IEND":
            break
    if not pixels:
        raise cut_off(_("it holds no pixels"))
    return _header(found, b"".join(out))


def _header(found: dict[bytes, bytes], bare: bytes) -> Header:
    head = found[b"IHDR"]
    w, h, depth, colour = int.from_bytes(head[:4], "big"), int.from_bytes(head[4:8], "big"), head[8], head[9]
    if colour not in _CHANNELS or depth not in (1, 2, 4, 8, 16) or not w or not h:
        raise not_a_picture(_("damaged: its header"))
    raw = h * (1 + -(-w * _CHANNELS[colour] * depth // 8))
    if raw > MAX_RAW_BYTES:
        raise not_a_picture(
            _("{w} x {h} pixels are more than is read from this format; send it smaller or as JPEG", w=w, h=h)
        )
    orientation, taken_at = exif_facts(found.get(b"eXIf"))
    held = w * h * (1 if colour in (0, 3) and depth <= 8 else 4)  # Pillow keeps three channels in four bytes
    camera, icc = exif_camera(found.get(b"eXIf")), _profile(found.get(b"iCCP"))
    return Header(
        "PNG",
        _MODES[colour],
        (w, h),
        bare,
        held,
        orientation,
        icc,
        taken_at,
        camera=camera,
        lens=exif_lens(found.get(b"eXIf")),
    )


def _profile(chunk: bytes | None) -> bytes | None:
    """The ICC profile of an iCCP chunk, inflated within its limit; None when it is broken."""
    if chunk is None or b"\0" not in chunk[:80]:
        return None
    packed = zlib.decompressobj()
    try:
        icc = packed.decompress(chunk[chunk.index(b"\0") + 2 :], MAX_ICC)
    except zlib.error:
        return None
    return icc if icc and packed.eof else None
