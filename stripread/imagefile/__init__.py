"""An image file as bytes: what its header says, and its pixels at a reduced size. Hostile or broken files are refused.

The header is read first, by our own bounded parsers (``jpeg``, ``png``, ``webp``, ``tiff``, ``heif``): a library asked
for metadata may decode the whole picture. ``header`` holds the limits.
"""

from __future__ import annotations

from stripread.imagefile.decode import decode, guard, reduction
from stripread.imagefile.header import MAX_BYTES, Header, check_sides, check_size, cut_off, not_a_picture
from stripread.imagefile.heif import BRANDS, read_heif
from stripread.imagefile.jpeg import read_jpeg
from stripread.imagefile.png import SIGNATURE, read_png
from stripread.imagefile.profiles import is_display_p3, profile_bytes, srgb_converter
from stripread.imagefile.tiff import read_tiff
from stripread.imagefile.webp import read_webp
from stripread.words import _

__all__ = [
    "Header",
    "check_sides",
    "cut_off",
    "decode",
    "is_display_p3",
    "not_a_picture",
    "profile_bytes",
    "read_header",
    "reduction",
    "srgb_converter",
]


def read_header(data: bytes) -> Header:
    """Read and bound the header of an image file.

    Raises
    ------
    Refused
        ``not_a_picture`` for an unknown format, a broken file or one past the limits; ``file_cut_off``; ``too_small``.
    """
    if not data:
        raise not_a_picture(_("the file is empty"))
    if len(data) > MAX_BYTES:
        raise not_a_picture(
            _(
                "{n_data} MB; at most {max_bytes} MB are read",
                n_data=len(data) // 1_000_000,
                max_bytes=MAX_BYTES // 1_000_000,
            )
        )
    with guard(not_a_picture):
        header = _parsed(data)
    check_size(header)
    return header


def _parsed(data: bytes) -> Header:
    if data[:3] == b"\xff\xd8\xff":
        return read_jpeg(data)
    if data[:8] == SIGNATURE:
        return read_png(data)
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return read_webp(data)
    if data[:4] in (b"II*\0", b"MM\0*"):
        return read_tiff(data)
    if data[4:8] == b"ftyp" and data[8:12] in BRANDS:
        return read_heif(data)
    raise not_a_picture(_("its format is not known"))
