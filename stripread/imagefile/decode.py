"""From a checked header to pixels at a reduced size. The decoders see only the parts that make the picture.

JPEG, the format of nearly every phone photo, is decoded at 1/2, 1/4 or 1/8 inside the decoder (its DCT is scaled),
which saves most of the time and memory; the other formats are decoded whole and averaged down. No decoder may fill in
what is missing: a picture that came half is refused, not read from the half that came.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import cv2
import numpy as np
import simplejpeg
from numpy.typing import NDArray
from PIL import Image

from stripread.errors import Refused
from stripread.imagefile.header import TARGET_LONG_SIDE_PX, Header, cut_off, not_a_picture
from stripread.imagefile.heif import open_heif
from stripread.imagefile.profiles import cmyk_to_rgb, quiet_pillow
from stripread.words import _

Pixels = NDArray[np.uint8]

BAND = 512  # rows turned at once, so that no second whole picture is held


@contextmanager
def guard(make: Callable[[str], Refused] = cut_off) -> Iterator[None]:
    """Turn whatever a parser or decoder raises into a refusal."""
    try:
        yield
    except Refused:
        raise
    except Exception as problem:
        # Decoders meeting broken files raise from an open set: OSError, SyntaxError, struct.error, KeyError, ...
        text = str(problem).strip().splitlines()
        raise make("damaged: " + (text[0][:80] if text else type(problem).__name__)) from None


def reduction(size: tuple[int, int]) -> int:
    """How many stored pixels (1, 2, 4 or 8) make a working pixel, for a picture of ``size`` (w, h)."""
    return next((k for k in (1, 2, 4) if max(size) <= k * TARGET_LONG_SIDE_PX), 8)


def decode(header: Header, k: int) -> Pixels:
    """Decode to RGB uint8 at 1/k of the stored size, as stored (not turned): shape (h // k, w // k, 3).

    Raises
    ------
    Refused
        ``not_a_picture`` or ``file_cut_off`` when the pixels can't be decoded, all of them.
    """
    with guard():
        if header.format == "JPEG":
            rgb = _decode_jpeg(header, k)
        elif header.format == "WEBP":
            rgb = _decode_webp(header, k)
        elif header.format == "HEIF":
            rgb = _shrunk(np.asarray(open_heif(header.bare), dtype=np.uint8), k)
        else:
            rgb = _decode_pillow(header, k)
    w, h = header.size[0] // k, header.size[1] // k
    if rgb.shape[0] < h or rgb.shape[1] < w:
        raise not_a_picture(_("its pixels do not agree with its header"))
    return rgb[:h, :w]  # without the last, partly filled row and column


def _decode_jpeg(header: Header, k: int) -> Pixels:
    w, h = -(-header.size[0] // k), -(-header.size[1] // k)
    space = "CMYK" if header.mode == "CMYK" else "RGB"
    try:
        pixels = _strict(header.bare, space, w, h)
    except ValueError as problem:
        if "extraneous" not in str(problem) or header.heavy or header.bare[-3]:
            raise cut_off(str(problem)[:80]) from None
        pixels = _without_padding(header.bare, space, w, h)
    if pixels.shape[:2] != (h, w):
        raise not_a_picture(_("its pixels do not agree with its header"))
    if space == "CMYK":
        ink = Image.fromarray(255 - pixels if header.inverted else pixels, "CMYK")
        return np.asarray(cmyk_to_rgb(ink, header.icc))
    return np.asarray(pixels, dtype=np.uint8)


def _strict(bare: bytes, space: str, w: int, h: int) -> Pixels:
    """Decode, where whatever libjpeg would only warn of, filling up with grey, is an error (ValueError)."""
    pixels = simplejpeg.decode_jpeg(bare, space, min_height=h, min_width=w, strict=True)
    return np.asarray(pixels, dtype=np.uint8)


def _without_padding(bare: bytes, space: str, w: int, h: int) -> Pixels:
    """Decode a JPEG whose writer put zeros behind the coded data, the last byte of which may be a zero itself."""
    coded = bare[:-2].rstrip(b"\0")
    for end in (b"\xff\xd9", b"\0\xff\xd9"):
        try:
            return _strict(coded + end, space, w, h)
        except ValueError as problem:
            reason = str(problem)[:80]
    raise cut_off(reason)


def _decode_webp(header: Header, k: int) -> Pixels:
    flags = cv2.IMREAD_UNCHANGED if header.mode == "RGBA" else cv2.IMREAD_COLOR
    try:
        bgr = cv2.imdecode(np.frombuffer(header.bare, dtype=np.uint8), flags)
    except cv2.error:
        bgr = None
    if bgr is None or bgr.ndim != 3:
        raise cut_off(_("its pixels end early or are damaged"))
    return np.ascontiguousarray(_shrunk(np.asarray(bgr, dtype=np.uint8), k)[..., ::-1])


def _shrunk(pixels: NDArray[np.uint8], k: int) -> Pixels:
    """Grey, RGB or RGBA (h, w[, c]) to RGB at 1/k; what is transparent lies on white."""
    pixels = pixels if pixels.ndim == 3 else pixels[..., None]
    h, w = pixels.shape[0] // k, pixels.shape[1] // k
    if k > 1:
        pixels = np.asarray(
            cv2.resize(pixels[: h * k, : w * k], (w, h), interpolation=cv2.INTER_AREA), dtype=np.uint8
        ).reshape(h, w, -1)
    if pixels.shape[2] in (2, 4):
        white = Image.new("RGBA", (w, h), (255, 255, 255, 255))
        rgba = pixels if pixels.shape[2] == 4 else pixels[..., [0, 0, 0, 1]]
        return np.asarray(Image.alpha_composite(white, Image.fromarray(np.ascontiguousarray(rgba))).convert("RGB"))
    return pixels if pixels.shape[2] == 3 else np.repeat(pixels, 3, axis=2)


def _decode_pillow(header: Header, k: int) -> Pixels:
    with quiet_pillow():
        try:
            image = Image.open(io.BytesIO(header.bare), formats=(header.format,))
        except Image.DecompressionBombError:
            raise not_a_picture(_("more pixels than any phone takes")) from None
        if image.size != header.size:
            raise not_a_picture(_("its pixels do not agree with its header"))
        if image.mode in ("I", "F"):
            raise not_a_picture(_("32-bit numbers instead of a photo's levels"))
        image.load()
        bands = [
            np.asarray(_to_rgb(image.crop((0, top, image.width, min(top + BAND, image.height))), k, header.icc))
            for top in range(0, image.height, BAND)  # a multiple of every k
        ]
    return np.concatenate([band for band in bands if band.size])


def _to_rgb(image: Image.Image, k: int, icc: bytes | None) -> Image.Image:
    """Any mode to RGB at 1/k: transparency lies on white, 16 bit keeps its upper 8."""
    if image.mode in ("I;16", "I;16L", "I;16B", "I;16N"):
        image = Image.fromarray((np.asarray(image, dtype=np.uint16) >> 8).astype(np.uint8))
    if image.mode in ("RGBA", "LA", "PA", "RGBa", "La") or "transparency" in image.info:
        image = _reduce(image if image.mode == "RGBA" else image.convert("RGBA"), k)
        white = Image.new("RGBA", image.size, (255, 255, 255, 255))
        return Image.alpha_composite(white, image).convert("RGB")
    if image.mode == "CMYK":
        return cmyk_to_rgb(_reduce(image, k), icc)
    return _reduce(image if image.mode in ("RGB", "L") else image.convert("RGB"), k).convert("RGB")


def _reduce(image: Image.Image, k: int) -> Image.Image:
    return image.reduce(k) if k > 1 else image
