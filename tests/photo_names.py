"""A rendered photo's file with the name of a phone and its lens in it, as a phone writes them; its pixels stay."""

from __future__ import annotations

import io

from PIL import Image
from PIL.TiffImagePlugin import IFDRational

MAKE, MODEL, EXIF_IFD, FOCAL_LENGTH, LENS_MODEL = 271, 272, 0x8769, 37386, 42036  # EXIF 2.32


def named(photo: bytes, model: str, *, make: str = "Stand-in", lens: str = "rear", focal_mm: float = 5.4) -> bytes:
    """The JPEG with another EXIF segment (EXIF 2.32, section 4.5.4): what stood there, and these names."""
    exif = Image.open(io.BytesIO(photo)).getexif()
    exif[MAKE], exif[MODEL] = make, model
    detail = exif.get_ifd(EXIF_IFD)
    detail[LENS_MODEL], detail[FOCAL_LENGTH] = lens, IFDRational(round(100 * focal_mm), 100)
    body = exif.tobytes()
    segment = b"\xff\xe1" + (len(body) + 2).to_bytes(2, "big") + body
    return photo[:2] + segment + _without_exif(photo)


def _without_exif(photo: bytes) -> bytes:
    """What follows a JPEG's first two bytes, its EXIF segment left out."""
    at, kept = 2, b""
    while photo[at] == 0xFF and photo[at + 1] != 0xDA:
        end = at + 2 + int.from_bytes(photo[at + 2 : at + 4], "big")
        if not (photo[at + 1] == 0xE1 and photo[at + 4 : at + 8] == b"Exif"):
            kept += photo[at:end]
        at = end
    return kept + photo[at:]
