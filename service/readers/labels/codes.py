"""The QR codes in a photo, as large as the file has it: each its text and its size. The photo is not kept."""

from __future__ import annotations

from typing import Any, TypedDict

import numpy as np

from service.readers.worker import Job
from stripread.errors import Refused
from stripread.words import speaking

WHOLE_PIXELS = 26_000_000  # beyond it half the size, so that memory stays bounded
MOST = 20  # codes of one photo that anybody asks for: a whole sheet of labels has fewer


class Code(TypedDict):
    """A code: what it says, and the length of its longest side in pixels of the photo."""

    text: str
    side: float


class Seen(TypedDict):
    """What was seen in a photo: its codes, the largest first; or why it could not be looked at, in a sentence."""

    codes: list[Code]
    refused: str


def codes_job(language: str, _made: Any, job: Job) -> Seen:  # noqa: ANN401 - what a worker was made with
    """The codes of a photo, in a worker."""
    with speaking(language):
        try:
            return {"codes": codes_in(job.photo.read_bytes()), "refused": ""}
        except Refused as refused:
            return {"codes": [], "refused": refused.reason.message}


def codes_in(data: bytes) -> list[Code]:
    """The QR codes in a picture's file, the largest first.

    Raises
    ------
    Refused
        As for every photo that can't be opened.
    """
    import zxingcpp  # noqa: PLC0415 - only who photographs a label needs it

    from stripread.imagefile import decode, read_header  # noqa: PLC0415

    header = read_header(data)
    rgb = decode(header, 1 if header.size[0] * header.size[1] <= WHOLE_PIXELS else 2)
    qr = zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode)
    found = zxingcpp.read_barcodes(np.ascontiguousarray(rgb), formats=qr)
    codes: list[Code] = [{"text": one.text, "side": _side(one.position)} for one in found[:MOST] if one.valid]
    return sorted(codes, key=lambda code: -code["side"])


def _side(at: Any) -> float:  # noqa: ANN401 - four corners of the library's own kind
    corners = np.array([(p.x, p.y) for p in (at.top_left, at.top_right, at.bottom_right, at.bottom_left)], dtype=float)
    return float(np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).max())
