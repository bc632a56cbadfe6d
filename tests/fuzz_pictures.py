"""Bad pictures by the thousand: ``python -m tests.fuzz_pictures [COUNT] [SEED]``.

Good photos of the card in every format are cut, flipped, overwritten, spliced and given lying headers; each must give a
card or a refusal with a reason. Prints what came out, the slowest and the peak memory; exit code 1 on any other end.
"""

import io
import os
import resource
import sys
import time
from collections import Counter
from functools import cache

import cv2
import numpy as np
from PIL import Image

from tests.cardshots import Shot, jpeg, take


@cache
def _card_pixels() -> np.ndarray:
    return take(Shot(size=(720, 540), tilt=10, azimuth=30, roll=8))


def _saved(image, file_format, **options) -> bytes:
    out = io.BytesIO()
    (image if isinstance(image, Image.Image) else Image.fromarray(image)).save(out, file_format, **options)
    return out.getvalue()


def _exif(orientation: int) -> Image.Exif:
    exif = Image.Exif()
    exif[274] = orientation
    exif.get_ifd(0x8769)[36867] = "2025:01:02 03:04:05"
    return exif


def _heic(pixels) -> bytes:
    import pillow_heif

    out = io.BytesIO()
    pillow_heif.from_pillow(Image.fromarray(pixels)).save(out, quality=90)
    return out.getvalue()


PICTURES = {
    "jpeg": jpeg,
    "jpeg, turned": lambda p: _saved(p, "JPEG", exif=_exif(6)),
    "jpeg, progressive": lambda p: _saved(p, "JPEG", progressive=True),
    "jpeg, cmyk": lambda p: _saved(Image.fromarray(p).convert("CMYK"), "JPEG"),
    "jpeg, grey": lambda p: _saved(Image.fromarray(p).convert("L"), "JPEG"),
    "png": lambda p: _saved(p, "PNG", compress_level=1, exif=_exif(3)),
    "png, 16 bit": lambda p: cv2.imencode(".png", p[..., ::-1].astype(np.uint16) << 8)[1].tobytes(),
    "png, palette": lambda p: _saved(Image.fromarray(p).quantize(128), "PNG"),
    "png, transparent": lambda p: _saved(np.dstack([p, np.full(p.shape[:2], 200, np.uint8)]), "PNG", compress_level=1),
    "png, animated": lambda p: _saved(
        p, "PNG", save_all=True, append_images=[Image.fromarray(255 - p)], compress_level=1
    ),
    "webp": lambda p: _saved(p, "WEBP", quality=80, method=0),
    "webp, animated": lambda p: _saved(
        p, "WEBP", save_all=True, append_images=[Image.fromarray(255 - p)], quality=80, method=0
    ),
    "tiff": lambda p: _saved(p, "TIFF", compression="tiff_lzw"),
    "tiff, 16 bit": lambda p: cv2.imencode(".tiff", p[..., ::-1].astype(np.uint16) << 8)[1].tobytes(),
    "tiff, pages": lambda p: _saved(p, "TIFF", save_all=True, append_images=[Image.fromarray(255 - p)]),
    "heic": _heic,
}


def _cut(data, rng):
    return data[: int(rng.integers(0, len(data)))]


def _flip_bits(data, rng):
    out = bytearray(data)
    for at in rng.integers(0, len(out), rng.integers(1, 12)):
        out[at] ^= 1 << int(rng.integers(0, 8))
    return bytes(out)


def _flip_header(data, rng):
    out = bytearray(data)
    for at in rng.integers(0, min(700, len(out)), rng.integers(1, 6)):
        out[at] = int(rng.integers(0, 256))
    return bytes(out)


def _overwrite(data, rng):
    at, n = int(rng.integers(0, len(data))), int(rng.integers(1, 3000))
    return data[:at] + rng.bytes(min(n, len(data) - at)) + data[at + n :]


def _zero(data, rng):
    at, n = int(rng.integers(0, len(data))), int(rng.integers(1, 20000))
    return data[:at] + bytes(min(n, len(data) - at)) + data[at + n :]


def _drop(data, rng):
    at, n = int(rng.integers(0, len(data))), int(rng.integers(1, 3000))
    return data[:at] + data[at + n :]


def _double(data, rng):
    at, n = int(rng.integers(0, len(data))), int(rng.integers(1, 3000))
    return data[: at + n] + data[at:]


def _splice(data, rng):
    other = _whole(sorted(PICTURES)[int(rng.integers(len(PICTURES)))])
    return data[: int(rng.integers(0, len(data)))] + other[int(rng.integers(0, len(other))) :]


def _lie(data, rng):
    """Another size in the header: JPEG's SOF, PNG's IHDR (with its checksum mended), or any four bytes early on."""
    import zlib

    out, size = bytearray(data), rng.integers(0, 65536, 2)
    at = next((data.find(bytes([0xFF, m])) for m in (0xC0, 0xC2) if data.find(bytes([0xFF, m])) > 0), -1)
    if data[:2] == b"\xff\xd8" and at > 0:
        out[at + 5 : at + 9] = b"".join(int(v).to_bytes(2, "big") for v in size)
    elif data[:4] == b"\x89PNG":
        out[16:24] = b"".join(int(v).to_bytes(4, "big") for v in size)
        out[29:33] = zlib.crc32(bytes(out[12:29])).to_bytes(4, "big")
    else:
        at = int(rng.integers(4, 200))
        out[at : at + 4] = rng.bytes(4)
    return bytes(out)


DAMAGES = {
    "none": lambda data, _: data,
    "cut": _cut,
    "bits": _flip_bits,
    "header": _flip_header,
    "overwritten": _overwrite,
    "zeroed": _zero,
    "dropped": _drop,
    "doubled": _double,
    "spliced": _splice,
    "lying": _lie,
}


@cache
def _whole(kind: str) -> bytes:
    return PICTURES[kind](_card_pixels())


def damaged(kind: str, damage: str, seed: int) -> bytes:
    """A picture of the kind with the damage, the same for the same seed."""
    return DAMAGES[damage](_whole(kind), np.random.default_rng(seed))


@cache
def specimens() -> dict[str, tuple[bytes, tuple[str, ...]]]:
    """Odd pictures that have one right outcome, with the outcomes allowed."""
    plain, good = np.full((600, 800, 3), 128, np.uint8), ("card",)
    table = {kind: (_whole(kind), good) for kind in PICTURES if kind != "jpeg, turned"}
    table["jpeg, turned"] = (_whole("jpeg, turned"), good)
    table["one pixel"] = (_saved(np.zeros((1, 1, 3), np.uint8), "PNG"), ("too_small",))
    table["one row"] = (_saved(np.zeros((1, 4000, 3), np.uint8), "PNG"), ("too_small",))
    table["no card"] = (jpeg(plain), ("no_card", "not_a_picture"))
    table["black"] = (jpeg(np.random.default_rng(0).integers(0, 3, (600, 800, 3), dtype=np.uint8)), ("no_card",))
    table["bomb"] = (_saved(Image.new("L", (20000, 20000)), "PNG", compress_level=1), ("not_a_picture",))
    table["mirrored"] = (jpeg(np.ascontiguousarray(_card_pixels()[:, ::-1])), ("no_card",))
    table["two bits"] = (_saved(Image.fromarray(_card_pixels()).convert("1"), "PNG"), ("card", "no_card", "blurred"))
    return table


def main(count: int, seed: int) -> int:
    """Run ``count`` damaged pictures; prints a table."""
    from tests.properties.test_bad_pictures import outcome

    rng, ends, bad, slowest = np.random.default_rng(seed), Counter(), 0, (0.0, "")
    for _ in range(count):
        kind, damage = str(rng.choice(sorted(PICTURES))), str(rng.choice(sorted(DAMAGES)))
        case = int(rng.integers(2**32))
        data = damaged(kind, damage, case)
        started = time.perf_counter()
        try:
            ends[damage, outcome(data)] += 1
        except Exception as problem:  # the finding this run is for
            bad += 1
            print(f"{kind} / {damage} / seed {case}: {type(problem).__name__}: {problem}", file=sys.stderr)
        slowest = max(slowest, (time.perf_counter() - started, f"{kind} / {damage} / seed {case}"))
    for (damage, end), n in sorted(ends.items()):
        print(f"{damage:12s} {end:14s} {n}")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{count} pictures, {bad} ended otherwise; slowest {slowest[0]:.2f} s ({slowest[1]}); peak {peak:.0f} MB")
    return int(bad > 0)


if __name__ == "__main__":
    os.environ.setdefault("OPENCV_LOG_LEVEL", "ERROR")
    arguments = [int(a) for a in sys.argv[1:]]
    sys.exit(main(arguments[0] if arguments else 1000, arguments[1] if len(arguments) > 1 else 0))
