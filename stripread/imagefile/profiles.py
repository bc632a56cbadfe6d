"""Colour profiles of pictures: to sRGB for reading, and the few that pictures made here carry, of our own bytes."""

from __future__ import annotations

import io
import threading
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache, lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

Pixels = NDArray[np.uint8]
Known = Literal["srgb", "display_p3"]

# Colorants of Display P3, adapted to D50: Bradford from the primaries of SMPTE RP 431-2 and the white D65 (from memory,
# checked against colour-science in the tests).
_P3 = {b"rXYZ": (0.5151, 0.2412, -0.0011), b"gXYZ": (0.2920, 0.6922, 0.0419), b"bXYZ": (0.1571, 0.0666, 0.7841)}
_ALIKE = 2  # levels of 255

# ``warnings.catch_warnings`` changes the process: two threads inside it at once would leave warnings off for good.
PILLOW = threading.RLock()


@contextmanager
def quiet_pillow() -> Iterator[None]:
    """Keep the warnings of Pillow to itself, one thread at a time."""
    with PILLOW, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield


@cache
def profile_bytes(known: Known) -> bytes:
    """An ICC profile that owes nothing to any picture: lcms's sRGB, or the same with the primaries of Display P3."""
    data = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    data[24:36] = bytes(12)  # when it was made
    data[84:100] = bytes(16)  # its own checksum
    if known == "display_p3":
        for n in range(int.from_bytes(data[128:132], "big")):
            entry = 132 + 12 * n
            tag, at = bytes(data[entry : entry + 4]), int.from_bytes(data[entry + 4 : entry + 8], "big")
            if tag in _P3:
                data[at + 8 : at + 20] = b"".join(round(v * 65536).to_bytes(4, "big", signed=True) for v in _P3[tag])
            if tag == b"desc":
                n_bytes = int.from_bytes(data[entry + 8 : entry + 12], "big")
                data[at : at + n_bytes] = bytes(data[at : at + n_bytes]).replace(
                    "sRGB built-in".encode("utf-16-be"), "Display P3   ".encode("utf-16-be")
                )
    return bytes(data)


def _transform(source: bytes, target: bytes) -> ImageCms.ImageCmsTransform | None:
    """From profile to profile; None for one that can't be read or is not for RGB."""
    with quiet_pillow():
        try:
            profile = ImageCms.ImageCmsProfile(io.BytesIO(source))
            if profile.profile.xcolor_space.strip() != "RGB":
                return None
            return ImageCms.buildTransform(
                profile,
                ImageCms.ImageCmsProfile(io.BytesIO(target)),
                "RGB",
                "RGB",
                renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
            )
        except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
            return None


def _convert(rgb: Pixels, transform: ImageCms.ImageCmsTransform) -> Pixels:
    image = Image.fromarray(rgb)
    ImageCms.applyTransform(image, transform, inPlace=True)
    return np.array(image)


def _moves(transform: ImageCms.ImageCmsTransform, top: int = 240) -> bool:
    probe = np.stack(np.meshgrid(*[np.linspace(16, top, 6)] * 3), axis=-1).reshape(-1, 6, 3).astype(np.uint8)
    return bool(np.abs(_convert(probe, transform).astype(int) - probe).max() > _ALIKE)


@lru_cache(maxsize=8)
def srgb_converter(icc: bytes | None) -> Callable[[Pixels], Pixels] | None:
    """Make the function that turns RGB pixels (h, w, 3) under an embedded profile into sRGB; None for nothing to do.

    A profile that can't be read, is not for RGB, or moves no colour by more than two levels counts as sRGB.
    """
    transform = _transform(icc, profile_bytes("srgb")) if icc else None
    if transform is None or not _moves(transform):
        return None
    return lambda rgb: _convert(rgb, transform)


@lru_cache(maxsize=8)
def is_display_p3(icc: bytes | None) -> bool:
    """Whether a profile is Display P3, to two levels in every colour."""
    transform = _transform(icc, profile_bytes("display_p3")) if icc else None
    return transform is not None and not _moves(transform)


def cmyk_to_rgb(image: Image.Image, icc: bytes | None) -> Image.Image:
    """Inks to sRGB by the file's profile; plainly when it has none that can be read."""
    if icc:
        with quiet_pillow():
            try:
                source = ImageCms.ImageCmsProfile(io.BytesIO(icc))
                turned = ImageCms.profileToProfile(image, source, ImageCms.createProfile("sRGB"), outputMode="RGB")
            except (ImageCms.PyCMSError, OSError, ValueError):
                turned = None
        if turned is not None:
            return turned
    return image.convert("RGB")
