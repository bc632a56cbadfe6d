"""What a file says of itself, and the limits on it: everything that is checked before a pixel is decoded.

The limits keep any file within 2 s of processor time and 300 MB: a header can't ask for more, nor can many small parts.
They were set by measuring the decoders (``tests/properties/test_opening_budget.py``); no phone comes near them.
"""

from __future__ import annotations

from dataclasses import dataclass

from stripread.errors import Refused
from stripread.reasons import because
from stripread.words import _

MAX_BYTES = 80_000_000
MAX_PIXELS = 120_000_000  # decoded at reduced size
MAX_DECODER_BYTES = 290_000_000  # what a decoder that must hold the whole picture may need
MAX_PARTS = 40_000  # segments, chunks, strips or boxes of a file: a PNG of 80 MB in libpng's pieces of 8 kB has 10,000
MAX_ICC = 4_000_000
MIN_BYTES_PER_PIXEL = 0.004  # a photo never compresses further; a bomb does
MIN_SIDES_PX = (192, 135)  # a card at 1.3 px/mm
TARGET_LONG_SIDE_PX = 3050  # largest working picture: 12 MP is halved, 24 MP too, 48 MP quartered
MAX_LONG_SIDE_PX = 8 * TARGET_LONG_SIDE_PX


@dataclass(frozen=True)
class Header:
    """What a file says of itself: format, stored size (w, h) px, EXIF orientation 1 to 8, ICC profile, time taken.

    bare: the file again with nothing but the parts that make its first picture; decoders see only this.
    decoder_bytes: what the decoder has to hold beside the reduced picture. inverted: CMYK with ink as 0.
    camera, lens: make and model, lens and focal length; empty where it says nothing.
    """

    format: str
    mode: str
    size: tuple[int, int]
    bare: bytes
    decoder_bytes: int
    orientation: int = 1
    icc: bytes | None = None
    taken_at: str | None = None
    inverted: bool = False
    camera: tuple[str, str] = ("", "")
    lens: str = ""

    @property
    def heavy(self) -> bool:
        """Whether the decoder has to hold the whole picture in memory, so that a smaller one costs as much."""
        return self.decoder_bytes > 0


def not_a_picture(detail: str) -> Refused:
    """Make the refusal of a file that can't be opened."""
    return Refused(because("not_a_picture", detail))


def cut_off(detail: str) -> Refused:
    """Make the refusal of a file of which a part is missing or came damaged."""
    return Refused(because("file_cut_off", detail))


def check_parts(n: int, name: str) -> None:
    """Refuse a file of too many parts.

    Raises
    ------
    Refused
        ``not_a_picture``.
    """
    if n > MAX_PARTS:
        raise not_a_picture(_("more than {max_parts} {name}", max_parts=MAX_PARTS, name=name))


def check_size(header: Header) -> None:
    """Refuse a picture that is too large, too small, or larger than its bytes can hold.

    Raises
    ------
    Refused
        ``not_a_picture`` or ``too_small``.
    """
    w, h = header.size
    if w * h > MAX_PIXELS or header.decoder_bytes > MAX_DECODER_BYTES:
        raise not_a_picture(
            _("{w} x {h} pixels are more than is read from this format; send it smaller or as JPEG", w=w, h=h)
        )
    check_sides(header.size)
    if len(header.bare) < MIN_BYTES_PER_PIXEL * w * h:
        raise not_a_picture(
            _(
                "its header promises {w} x {h} pixels, but the file holds {n_bare} bytes",
                w=w,
                h=h,
                n_bare=len(header.bare),
            )
        )


def check_sides(size: tuple[int, int]) -> None:
    """Refuse a picture of ``size`` (w, h) px that is too small for a card, or longer than any photo.

    Raises
    ------
    Refused
        ``too_small`` or ``not_a_picture``.
    """
    w, h = size
    if max(w, h) > MAX_LONG_SIDE_PX:
        raise not_a_picture(_("{w} x {h} pixels; no phone takes so long a picture", w=w, h=h))
    if max(w, h) < MIN_SIDES_PX[0] or min(w, h) < MIN_SIDES_PX[1]:
        raise Refused(because("too_small", _("{w} x {h} pixels", w=w, h=h)))
