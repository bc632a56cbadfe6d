"""Pictures to show: a thumbnail, and the photo without what it tells about its owner.

The original stays as it was sent, as evidence, in the data folder; nothing here is stored instead of it.
"""

from __future__ import annotations

import io
import re
import warnings
from pathlib import Path
from typing import Any

from PIL import Image, ImageOps

from service.readers.worker import Job

MAX_PIXELS = 120_000_000  # more than any phone makes: a bomb
THUMBNAIL = 320
_KEEP = {0xE0, 0xE2, 0xEE}  # JFIF, ICC profile, the colour transform's marker; all other application data goes
_NEXT = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]")  # the next marker after entropy coded data


class NotAPicture(Exception):  # noqa: N818 - a verdict on the file
    """This file can't be shown as a picture."""


def thumbnail(photo: Path) -> bytes:
    """A small upright JPEG without any metadata.

    Raises
    ------
    NotAPicture
        If it can't be decoded within the bounds.
    """
    return _upright(photo, (THUMBNAIL, THUMBNAIL), 80)


def clean(photo: Path) -> bytes:
    """The photo as a JPEG with its pixels and colour profile and nothing else: no place, owner, serial number or tail.

    A JPEG's coded pixels are copied bit by bit; its orientation is kept in a new, minimal EXIF block. Other formats are
    coded anew.

    Raises
    ------
    NotAPicture
        If it can't be decoded within the bounds.
    """
    data = photo.read_bytes()
    if data[:3] == b"\xff\xd8\xff":
        try:
            return _bare_jpeg(data, _orientation(data))
        except (ValueError, IndexError):
            pass  # not built as a JPEG should be: code it anew
    return _upright(photo, None, 92)


def thumbnail_job(_: Any, job: Job) -> bytes:  # noqa: ANN401
    """``thumbnail`` in a worker."""
    return thumbnail(job.photo)


def clean_job(_: Any, job: Job) -> bytes:  # noqa: ANN401
    """``clean`` in a worker."""
    return clean(job.photo)


def no_reader() -> None:
    """What the pictures' worker is made with: nothing."""


def _open(source: Path | io.BytesIO) -> Image.Image:
    try:
        from pillow_heif import register_heif_opener  # noqa: PLC0415 - an optional extra

        register_heif_opener()
    except ImportError:
        pass
    Image.MAX_IMAGE_PIXELS = MAX_PIXELS
    with warnings.catch_warnings():
        warnings.simplefilter("error", Image.DecompressionBombWarning)
        return Image.open(source, formats=["JPEG", "PNG", "WEBP", "TIFF", *(["HEIF"] if "HEIF" in Image.OPEN else [])])


def _upright(photo: Path, box: tuple[int, int] | None, quality: int) -> bytes:
    try:
        with _open(photo) as image:
            if box is not None:
                image.draft("RGB", (box[0] * 2, box[1] * 2))
            upright = ImageOps.exif_transpose(image)
            icc = upright.info.get("icc_profile")
            rgb = upright.convert("RGB")
    except (
        OSError,
        ValueError,
        SyntaxError,
        MemoryError,
        Image.DecompressionBombError,
        Image.DecompressionBombWarning,
    ) as problem:
        raise NotAPicture(type(problem).__name__) from None
    if box is not None:
        rgb.thumbnail(box)
    out = io.BytesIO()
    rgb.info.clear()
    rgb.save(out, "JPEG", quality=quality, **({"icc_profile": icc} if icc else {}))
    return out.getvalue()


def _orientation(data: bytes) -> int:
    try:
        with _open(io.BytesIO(data)) as image:
            turn = image.getexif().get(0x0112, 1)
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError, Image.DecompressionBombWarning) as problem:
        raise NotAPicture(type(problem).__name__) from None
    return turn if turn in range(1, 9) else 1


def _bare_jpeg(data: bytes, orientation: int) -> bytes:
    """Copy the segments that make the picture, up to its end mark.

    Raises
    ------
    ValueError, IndexError
        If the segments do not follow the JPEG standard (ITU-T T.81, annex B).
    """
    out = bytearray(b"\xff\xd8")
    if orientation != 1:
        tiff = (
            b"MM\x00\x2a\x00\x00\x00\x08\x00\x01\x01\x12\x00\x03\x00\x00\x00\x01\x00"
            + bytes([orientation])
            + b"\x00\x00\x00\x00\x00\x00"
        )
        out += b"\xff\xe1" + (len(tiff) + 8).to_bytes(2, "big") + b"Exif\x00\x00" + tiff
    at = 2
    while True:
        if data[at] != 0xFF:
            raise ValueError("no marker where one must be")
        while data[at + 1] == 0xFF:  # fill bytes
            at += 1
        marker = data[at + 1]
        if marker == 0xD9:
            return bytes(out + b"\xff\xd9")
        end = at + 2 + int.from_bytes(data[at + 2 : at + 4], "big")
        if end <= at + 3 or end > len(data):
            raise ValueError("a segment of no length")
        application = 0xE0 <= marker <= 0xEF or marker == 0xFE
        if not application or (marker in _KEEP and _wanted(marker, data[at + 4 : at + 16])):
            out += data[at:end]
        at = end
        if marker == 0xDA:
            found = _NEXT.search(data, at)
            if found is None:
                raise ValueError("no end")
            out += data[at : found.start()]
            at = found.start()


def _wanted(marker: int, head: bytes) -> bool:
    """The JFIF, ICC and colour transform segments themselves, not others that use their markers."""
    return head.startswith({0xE0: b"JFIF\x00", 0xE2: b"ICC_PROFILE\x00", 0xEE: b"Adobe"}[marker])
