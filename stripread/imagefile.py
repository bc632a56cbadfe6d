"""An image file as bytes: what its header says, and its pixels at a reduced size. Hostile or broken files are refused.

The header is read first and bounded before a pixel is decoded, so that a file can't ask for memory by its header alone.
JPEG, the format of nearly every phone photo, is decoded at 1/2, 1/4 or 1/8 inside the decoder (its DCT is scaled),
which saves most of the time and memory; the other formats are decoded whole and averaged down.
"""

from __future__ import annotations

import io
import threading
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import ExifTags, Image, ImageCms, UnidentifiedImageError

from stripread.errors import Refused
from stripread.reasons import because

Pixels = NDArray[np.uint8]

MAX_BYTES = 80_000_000
MAX_PIXELS = 120_000_000  # decoded at reduced size
MAX_PIXELS_WHOLE = 52_000_000  # where the decoder must hold the whole picture
MIN_BYTES_PER_PIXEL = 0.004  # a photo never compresses further; a bomb does
MIN_SIDES_PX = (192, 135)  # a card at 1.3 px/mm
TARGET_LONG_SIDE_PX = 3050  # largest working picture: 12 MP is halved, 24 MP too, 48 MP quartered
FORMATS = ("JPEG", "PNG", "WEBP", "TIFF")
HEIF_BRANDS = (b"heic", b"heix", b"hevc", b"hevx", b"heim", b"heis", b"mif1", b"msf1")

_REDUCED = {
    1: 0,
    2: cv2.IMREAD_REDUCED_GRAYSCALE_2,
    4: cv2.IMREAD_REDUCED_GRAYSCALE_4,
    8: cv2.IMREAD_REDUCED_GRAYSCALE_8,
}

# ``warnings.catch_warnings`` changes the process: two threads inside it at once would leave warnings off for good.
_PILLOW = threading.RLock()


@dataclass(frozen=True)
class Header:
    """What a file says of itself: format, stored size (w, h) px, EXIF orientation 1 to 8, ICC profile, time taken.

    heavy: the decoder has to hold the whole picture in memory.
    """

    format: str
    mode: str
    size: tuple[int, int]
    orientation: int
    icc: bytes | None
    taken_at: str | None
    heavy: bool
    animated: bool = False


def not_a_picture(detail: str) -> Refused:
    """Make the refusal of a file that can't be opened."""
    return Refused(because("not_a_picture", detail))


@contextmanager
def _guard() -> Iterator[None]:
    """Turn whatever a decoder raises into a refusal, and keep its warnings quiet."""
    with _PILLOW, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            yield
        except Refused:
            raise
        except Image.DecompressionBombError:
            raise not_a_picture("more pixels than any phone takes") from None
        except Exception as problem:
            # Decoders meeting broken files raise from an open set: OSError, SyntaxError, struct.error, KeyError, ...
            raise not_a_picture(_first_line(problem)) from None


def _first_line(problem: Exception) -> str:
    text = str(problem).strip().splitlines()
    return "damaged: " + (text[0][:80] if text else type(problem).__name__)


def read_header(data: bytes) -> Header:
    """Read and bound the header of an image file.

    Raises
    ------
    Refused
        ``not_a_picture`` for an unknown format, a broken or incomplete file or one past the bounds; ``too_small``.
    """
    if not data:
        raise not_a_picture("the file is empty")
    if len(data) > MAX_BYTES:
        raise not_a_picture(f"{len(data) // 1_000_000} MB; at most {MAX_BYTES // 1_000_000} MB are read")
    with _guard():
        header = _heif_header(data) if _is_heif(data) else _pillow_header(data)
    _check_size(header, len(data))
    if header.format == "JPEG" and not _jpeg_is_whole(data):
        raise not_a_picture("the file is incomplete; send it again")
    return header


def _check_size(header: Header, n_bytes: int) -> None:
    w, h = header.size
    limit = MAX_PIXELS_WHOLE if header.heavy else MAX_PIXELS
    if w * h > limit:
        raise not_a_picture(f"{w} x {h} pixels; at most {limit // 1_000_000} million are read from this format")
    if max(w, h) > 8 * TARGET_LONG_SIDE_PX:
        raise not_a_picture(f"{w} x {h} pixels; no phone takes so long a picture")
    if max(w, h) < MIN_SIDES_PX[0] or min(w, h) < MIN_SIDES_PX[1]:
        raise Refused(because("too_small", f"{w} x {h} pixels"))
    if n_bytes < MIN_BYTES_PER_PIXEL * w * h:
        raise not_a_picture(f"its header promises {w} x {h} pixels, but the file holds {n_bytes} bytes")


def reduction(size: tuple[int, int]) -> int:
    """How many stored pixels (1, 2, 4 or 8) make a working pixel, for a picture of ``size`` (w, h)."""
    return next((k for k in (1, 2, 4) if max(size) <= k * TARGET_LONG_SIDE_PX), 8)


def decode(data: bytes, header: Header, k: int) -> Pixels:
    """Decode to RGB uint8 at 1/k of the stored size, as stored (not turned): shape (h // k, w // k, 3).

    Raises
    ------
    Refused
        ``not_a_picture`` when the pixels can't be decoded.
    """
    if header.format == "JPEG" and header.mode in ("RGB", "L"):
        rgb = _decode_jpeg(data, header, k)
    elif header.format == "WEBP" and header.mode == "RGB" and not header.animated:
        rgb = _decode_webp(data, k)
    elif header.format == "HEIF":
        with _guard():
            rgb = _decode_heif(data, k)
    else:
        with _guard():
            rgb = _decode_pillow(data, k)
    w, h = header.size[0] // k, header.size[1] // k
    if rgb.shape[0] < h or rgb.shape[1] < w:
        raise not_a_picture("its pixels do not agree with its header")
    return rgb[:h, :w]  # without the last, partly filled row and column


def _decode_jpeg(data: bytes, header: Header, k: int) -> Pixels:
    # IMREAD_COLOR_RGB excludes the BGR bit of IMREAD_REDUCED_COLOR_k; with the bits of the grey flag it gives reduced
    # RGB, decoded in that order at once: a fifth faster than BGR.
    flags = _REDUCED[k] | cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION
    try:
        rgb = cv2.imdecode(np.frombuffer(data, dtype=np.uint8), flags)
    except (cv2.error, MemoryError):
        rgb = None
    if rgb is None:
        raise not_a_picture("damaged: the JPEG can't be decoded")
    if rgb.ndim != 3 or rgb.shape[:2] != (-(-header.size[1] // k), -(-header.size[0] // k)):
        raise not_a_picture("its pixels do not agree with its header")
    return np.asarray(rgb, dtype=np.uint8)


def _decode_webp(data: bytes, k: int) -> Pixels:
    """Decode a plain WebP by OpenCV: Pillow goes through the animation decoder and takes five times the memory."""
    flags = cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION
    try:
        rgb = cv2.imdecode(np.frombuffer(data, dtype=np.uint8), flags)
    except (cv2.error, MemoryError):
        rgb = None
    if rgb is None or rgb.ndim != 3:
        raise not_a_picture("damaged: the WebP can't be decoded")
    height, width = rgb.shape[0] // k, rgb.shape[1] // k
    if k > 1:
        rgb = cv2.resize(rgb[: height * k, : width * k], (width, height), interpolation=cv2.INTER_AREA)
    return np.asarray(rgb, dtype=np.uint8)


def _pillow_header(data: bytes) -> Header:
    try:
        image = Image.open(io.BytesIO(data), formats=FORMATS)
    except UnidentifiedImageError:
        raise not_a_picture("its format is not known") from None
    orientation, taken_at = _exif_facts(image)
    kind = "JPEG" if image.format == "MPO" else str(image.format)
    icc = image.info.get("icc_profile")
    heavy = kind != "JPEG" or image.mode not in ("RGB", "L") or bool(image.info.get("progressive"))
    if kind == "TIFF":
        orientation = 1  # Pillow turns a TIFF itself, its size too
    icc = icc if isinstance(icc, bytes) else None
    animated = bool(getattr(image, "is_animated", False))
    return Header(kind, image.mode, image.size, orientation, icc, taken_at, heavy, animated)


def _exif_facts(image: Image.Image) -> tuple[int, str | None]:
    """Orientation (1 when absent or nonsense) and the time taken; a broken EXIF block must not spoil the photo."""
    try:
        exif = image.getexif()
        detail: dict[int, Any] = exif.get_ifd(ExifTags.IFD.Exif)
        turn = exif.get(ExifTags.Base.Orientation, 1)
        when = detail.get(ExifTags.Base.DateTimeOriginal)
        offset = detail.get(ExifTags.Base.OffsetTimeOriginal)
    except Exception:  # as in _guard: an open set
        return 1, None
    return (turn if turn in range(1, 9) else 1), _iso_time(when, offset)


def _iso_time(when: object, offset: object) -> str | None:
    """EXIF's ``YYYY:MM:DD hh:mm:ss`` (and ``+hh:mm``) as ISO 8601; None when it is not a date."""
    if not isinstance(when, str):
        return None
    try:
        taken = datetime.strptime(when.strip("\0 "), "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None
    if isinstance(offset, str):
        try:
            return datetime.fromisoformat(taken.isoformat() + offset.strip("\0 ")).isoformat()
        except ValueError:
            pass
    return taken.isoformat()


def _jpeg_is_whole(data: bytes) -> bool:
    """Whether the first scan's end-of-image marker is there. A decoder would fill what is missing with grey, silently.

    Inside entropy-coded data FF is always followed by 00 or a restart marker, so FF D9 after it is the end.
    """
    at = 2
    while at + 4 <= len(data):
        if data[at] != 0xFF:
            return False
        marker = data[at + 1]
        if marker in (0xFF, 0x01) or 0xD0 <= marker <= 0xD8:  # fill byte, or a marker without a length
            at += 1 if marker == 0xFF else 2
            continue
        at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
        if marker == 0xDA:
            return data.rfind(b"\xff\xd9", at) >= 0  # from the end, where it nearly always is
    return False


def _decode_pillow(data: bytes, k: int) -> Pixels:
    image = Image.open(io.BytesIO(data), formats=FORMATS)
    if image.format in ("JPEG", "MPO"):
        image.draft(image.mode, (max(1, image.width // k), max(1, image.height // k)))
        k = max(1, round(k * image.width / Image.open(io.BytesIO(data), formats=FORMATS).width))
    image.load()
    return np.asarray(_to_rgb(image, k))


def _to_rgb(image: Image.Image, k: int) -> Image.Image:
    """Any mode to RGB at 1/k: transparency lies on white, 16 bit keeps its upper 8."""
    if image.mode in ("I;16", "I;16L", "I;16B", "I;16N"):
        image = Image.fromarray((np.asarray(image, dtype=np.uint16) >> 8).astype(np.uint8))
    elif image.mode in ("I", "F"):
        raise not_a_picture("32-bit numbers instead of a photo's levels")
    if image.mode in ("RGBA", "LA", "PA", "RGBa", "La") or "transparency" in image.info:
        image = _reduce(image.convert("RGBA"), k)
        white = Image.new("RGBA", image.size, (255, 255, 255, 255))
        return Image.alpha_composite(white, image).convert("RGB")
    if image.mode == "CMYK":
        return _cmyk_to_rgb(_reduce(image, k))
    return _reduce(image if image.mode in ("RGB", "L") else image.convert("RGB"), k).convert("RGB")


def _reduce(image: Image.Image, k: int) -> Image.Image:
    return image.reduce(k) if k > 1 else image


def _cmyk_to_rgb(image: Image.Image) -> Image.Image:
    icc = image.info.get("icc_profile")
    if icc:
        try:
            source = ImageCms.ImageCmsProfile(io.BytesIO(icc))
            turned = ImageCms.profileToProfile(image, source, ImageCms.createProfile("sRGB"), outputMode="RGB")
        except (ImageCms.PyCMSError, OSError, ValueError):
            turned = None  # an unreadable profile is ignored
        if turned is not None:
            return turned
    return image.convert("RGB")


def _is_heif(data: bytes) -> bool:
    return data[4:8] == b"ftyp" and data[8:12] in HEIF_BRANDS


def _open_heif(data: bytes) -> Any:  # noqa: ANN401 - a type of an extra that may be missing
    try:
        import pillow_heif  # noqa: PLC0415 - an extra, and slow to load
    except ImportError:
        raise not_a_picture("HEIC needs the extra: pip install 'stripread[heic]'; or send it as JPEG") from None
    return pillow_heif.open_heif(data, convert_hdr_to_8bit=True)


def _heif_header(data: bytes) -> Header:
    image = _open_heif(data)
    taken_at = None
    if image.info.get("exif"):
        exif = Image.Exif()
        try:
            exif.load(image.info["exif"])
            detail = exif.get_ifd(ExifTags.IFD.Exif)
            when, offset = ExifTags.Base.DateTimeOriginal, ExifTags.Base.OffsetTimeOriginal
            taken_at = _iso_time(detail.get(when), detail.get(offset))
        except Exception:  # as in _guard: an open set
            taken_at = None
    # libheif turns the picture itself: what EXIF says of turning has been obeyed.
    return Header("HEIF", image.mode, image.size, 1, image.info.get("icc_profile"), taken_at, heavy=True)


def _decode_heif(data: bytes, k: int) -> Pixels:
    image = _open_heif(data)
    return np.asarray(_to_rgb(image.to_pillow(), k))


@lru_cache(maxsize=8)
def srgb_converter(icc: bytes | None) -> Callable[[Pixels], Pixels] | None:
    """Make the function that turns RGB pixels under an embedded profile into sRGB; None when there is nothing to do.

    A profile that can't be read, is not for RGB, or moves no colour by more than two levels counts as sRGB.
    """
    if not icc:
        return None
    probe = np.stack(np.meshgrid(*[np.linspace(16, 240, 6)] * 3), axis=-1).reshape(-1, 6, 3).astype(np.uint8)
    with _PILLOW, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            source = ImageCms.ImageCmsProfile(io.BytesIO(icc))
            if source.profile.xcolor_space.strip() != "RGB":
                return None
            target, intent = ImageCms.createProfile("sRGB"), ImageCms.Intent.RELATIVE_COLORIMETRIC
            transform = ImageCms.buildTransform(source, target, "RGB", "RGB", renderingIntent=intent)
        except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
            return None

    def convert(rgb: Pixels) -> Pixels:
        image = Image.fromarray(rgb)
        ImageCms.applyTransform(image, transform, inPlace=True)
        return np.array(image)

    return convert if np.abs(convert(probe).astype(int) - probe).max() > 2 else None
