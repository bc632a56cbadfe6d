"""A phone photo from its bytes: upright pixels at a working size, with the scale back to the full picture.

Pixel convention of the whole program: the centre of a pixel lies at whole numbers, the upper left pixel at (0, 0).
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
import simplejpeg
from numpy.typing import NDArray

from stripread.errors import Refused
from stripread.imagefile import (
    Header,
    check_sides,
    decode,
    is_display_p3,
    not_a_picture,
    profile_bytes,
    read_header,
    reduction,
    srgb_converter,
)
from stripread.words import _

Pixels = NDArray[np.uint8]
Array = NDArray[np.float64]
Source = bytes | Pixels  # a file as it came, or an upright sRGB picture (H, W, 3) that somebody has decoded

WHOLE_PIXELS = 26_000_000  # of a clean copy: beyond it half the size, so that memory stays bounded

# EXIF orientation -> how cv2 brings the stored picture upright: transpose first, then flip (None: leave out).
# EXIF 2.32, table of tag 274: which side of the scene the stored row 0 and column 0 are.
_TURNS: dict[int, tuple[bool, int | None]] = {
    1: (False, None),
    2: (False, 1),
    3: (False, -1),
    4: (False, 0),
    5: (True, None),
    6: (True, 1),
    7: (True, -1),
    8: (True, 0),
}


@dataclass(frozen=True)
class Photo:
    """An upright photo.

    pixels (H, W, 3) RGB uint8 as the phone encoded them, at the working size; scale: full-size pixels to a working
    pixel; full_size (w, h) upright; offset: full-size pixels left of and above the first working pixel (a reduced
    decode drops less than one working pixel); taken_at ISO 8601 or None; convert: to sRGB, when the file has another
    profile; quick: decoded at half of the usual working size; camera: maker and model as the file has them, or None;
    lens: lens and focal length likewise, "" where it says nothing.
    """

    pixels: Pixels
    scale: float
    full_size: tuple[int, int]
    offset: tuple[int, int]
    sha256: str
    taken_at: str | None
    convert: Callable[[Pixels], Pixels] | None = None
    quick: bool = False
    camera: str | None = None
    lens: str = ""

    @property
    def phone(self) -> str | None:
        """Which phone and which of its lenses took it, by the file; None where that names no camera."""
        return None if self.camera is None else ", ".join(part for part in (self.camera, self.lens) if part)

    def to_full(self, points: Array) -> Array:
        """Working pixels (N, 2) as full-size pixels (N, 2)."""
        return np.asarray((points + 0.5) * self.scale - 0.5 + np.array(self.offset, dtype=np.float64))

    def to_working(self, points: Array) -> Array:
        """Full-size pixels (N, 2) as working pixels (N, 2)."""
        return np.asarray((points - np.array(self.offset, dtype=np.float64) + 0.5) / self.scale - 0.5)

    def to_srgb(self, rgb: Pixels) -> Pixels:
        """Encoded pixels of this photo (h, w, 3) as sRGB. Slow: do it only on the pixels that matter."""
        return rgb if self.convert is None else self.convert(rgb)

    def for_card(self, rgb: Pixels) -> Pixels:
        """Encoded pixels ready for the card's fit: as sRGB only where the profile's tone curve is another.

        A profile that differs in its primaries alone (Display P3) leaves greys as they are. Its pixels stay as
        written: the fit's own matrix takes up the primaries, and colours beyond sRGB are not clipped on the way.
        """
        if self.convert is None:
            return rgb
        greys = np.repeat(np.arange(8, 256, 13, dtype=np.uint8)[:, None, None], 3, axis=2)
        same_tone = np.abs(self.convert(greys).astype(int) - greys).max() <= 2
        return rgb if same_tone else self.convert(rgb)


def fingerprint(data: Source) -> str:
    """SHA-256, hexadecimal: names a photo in every result.

    Of a file it is over its bytes; of an array (H, W, 3) over the line ``RGB uint8 H W`` in ASCII, a line feed, and the
    pixels row by row, three bytes each.
    """
    if isinstance(data, bytes):
        return hashlib.sha256(data).hexdigest()
    digest = hashlib.sha256(f"RGB uint8 {data.shape[0]} {data.shape[1]}\n".encode())
    digest.update(np.ascontiguousarray(data).data)
    return digest.hexdigest()


def open_photo(data: Source, *, quick: bool = False) -> Photo:
    """Open a JPEG, PNG, WebP, TIFF or HEIC file (of an animated one, the first picture), or an array of pixels.

    An array is (H, W, 3) uint8, sRGB, and upright: it has no EXIF that says otherwise, nor when it was taken.
    ``quick`` decodes a large photo at half of the usual working size: enough when the card fills the frame.

    Raises
    ------
    Refused
        ``not_a_picture`` when it can't be opened or is past the limits, ``file_cut_off`` when a part of it is missing,
        ``too_small``.
    """
    if not isinstance(data, bytes):
        return _of_array(data, quick=quick)
    header = read_header(data)
    k = reduction(header.size)
    # Where the decoder must hold the whole picture a smaller one costs as much, and would be decoded twice.
    halved = quick and 2 <= k <= 4 and not header.heavy
    if halved:
        k *= 2
    rgb, size, offset = _upright(header, k)
    sha256, convert = fingerprint(data), srgb_converter(header.icc)
    camera = " ".join(header.camera).strip() or None
    return Photo(rgb, float(k), size, offset, sha256, header.taken_at, convert, halved, camera, header.lens)


def _of_array(pixels: Pixels, *, quick: bool) -> Photo:
    """An array (H, W, 3) averaged down to the working size a file of its size would have.

    Raises
    ------
    Refused
        ``too_small``, or ``not_a_picture`` when it is larger than any photo.
    """
    h, w = pixels.shape[:2]
    check_sides((w, h))
    k = reduction((w, h))
    halved = quick and 2 <= k <= 4
    if halved:
        k *= 2
    rgb = np.ascontiguousarray(pixels[: h // k * k, : w // k * k])
    if k > 1:
        rgb = np.asarray(cv2.resize(rgb, (w // k, h // k), interpolation=cv2.INTER_AREA), dtype=np.uint8)
    return Photo(rgb, float(k), (w, h), (0, 0), fingerprint(pixels), None, None, halved)


def _upright(header: Header, k: int) -> tuple[Pixels, tuple[int, int], tuple[int, int]]:
    """The picture at 1/k, turned upright; its full size, and what was dropped at its left and top."""
    rgb = decode(header, k)
    left_over = (header.size[0] - k * rgb.shape[1], header.size[1] - k * rgb.shape[0])
    transpose, flip = _TURNS[header.orientation]
    size, offset = header.size, (0, 0)
    if transpose:
        rgb = np.asarray(cv2.transpose(rgb), dtype=np.uint8)
        size, left_over = (size[1], size[0]), (left_over[1], left_over[0])
    if flip is not None:
        rgb = np.asarray(cv2.flip(rgb, flip), dtype=np.uint8)
        # what was dropped at the right or bottom is now at the left or top
        offset = (left_over[0] if flip in (1, -1) else 0, left_over[1] if flip in (0, -1) else 0)
    if rgb.size == 0:
        raise not_a_picture(_("it holds no pixels"))
    return np.ascontiguousarray(rgb), size, offset


def camera_of(data: bytes) -> tuple[str, str]:
    """Make and model of the camera by the photo's EXIF; both empty where it names none or can't be opened."""
    try:
        return read_header(data).camera
    except Refused:
        return "", ""


def thumbnail_jpeg(photo: Photo, long_side_px: int = 640, quality: int = 85) -> bytes:
    """Make a small upright sRGB JPEG of the photo, without any metadata (no place, no time, no device)."""
    height, width = photo.pixels.shape[:2]
    shrink = min(1.0, long_side_px / max(height, width))
    size = (max(1, round(width * shrink)), max(1, round(height * shrink)))
    small = np.asarray(cv2.resize(photo.pixels, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    return _encoded(photo.to_srgb(small), quality)


def clean_jpeg(data: bytes, quality: int = 92) -> bytes:
    """Make the whole photo anew, upright: its pixels and one of two known profiles of our own, nothing else.

    A picture in Display P3 stays so, any other is turned to sRGB; a very large one is halved.

    Raises
    ------
    Refused
        As ``open_photo``.
    """
    header = read_header(data)
    k = 1 if header.size[0] * header.size[1] <= WHOLE_PIXELS else 2
    rgb, _, _ = _upright(header, k)
    if is_display_p3(header.icc):
        return _encoded(rgb, quality, profile_bytes("display_p3"))
    convert = srgb_converter(header.icc)
    return _encoded(rgb if convert is None else convert(rgb), quality)


def _encoded(rgb: Pixels, quality: int, icc: bytes | None = None) -> bytes:
    """A JPEG of upright pixels."""
    coded: bytes = simplejpeg.encode_jpeg(np.ascontiguousarray(rgb), quality, "RGB", "420", fastdct=False)
    if icc is None:
        return coded
    # APP2, ICC.1:2010, annex B.4: one piece, behind the first segment
    at = 4 + int.from_bytes(coded[4:6], "big") if coded[2:4] == b"\xff\xe0" else 2
    body = b"ICC_PROFILE\0\x01\x01" + icc
    return coded[:at] + b"\xff\xe2" + (len(body) + 2).to_bytes(2, "big") + body + coded[at:]
