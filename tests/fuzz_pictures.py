"""Bad pictures by the thousand: ``python -m tests.fuzz_pictures [COUNT] [SEED]``.

Good photos in every format are cut, flipped, overwritten, spliced, given lying headers, and damaged in their structure
(``tests.damaged_structure``); each of the three readings must read them or refuse them with a reason. An escape is an
exception, more than 2 s of processor time, more than 300 MB over the base, or a value from a cut-off file. Prints what
came out, the slowest and the peak memory; exit code 1 on an escape. Runs in bounded processes of its own.
"""

import io
import os
import resource
import subprocess
import sys
import time
from collections import Counter
from functools import cache
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from tests.cardshots import Shot, jpeg, take
from tests.damaged_structure import STRUCTURE

DEMO = Path(__file__).parents[1] / "service" / "demo"
DEMO_PHOTOS = {
    "ph": "photos/02-wash-02.jpg",
    "tint": "windows/tint-1-first-wash.jpg",
    "solid": "windows/solid-1-early.jpg",
}


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
    **STRUCTURE,
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


# Where the kind's own data end with the picture, so that a cut file has lost a part of it.
_CUT_IS_FATAL = {k for k in PICTURES if k not in ("tiff, pages", "webp, animated", "png, animated")}
BUDGET_S, BUDGET_MB = 2.0, 300.0


@cache
def _read_all():
    """The three readings as functions of a file's bytes."""
    from stripread.ph.profile import load_profile
    from stripread.ph.read import read_ph
    from stripread.solid.read import read_solid
    from stripread.tint.read import read_tint

    profile = load_profile(DEMO / "profile.toml")
    return {"ph": lambda d: read_ph(d, profile), "tint": read_tint, "solid": read_solid}


@cache
def _of_reading(kind: str, reading: str) -> bytes:
    """A good picture of that reading, small, in the format."""
    image = Image.open(DEMO / DEMO_PHOTOS[reading]).convert("RGB")
    image.thumbnail((1000, 1000))
    return PICTURES[kind](np.asarray(image))


def peak_mb() -> float:
    """The most this process has held so far, MB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def case(reading: str, kind: str, damage: str, seed: int) -> tuple[str, str, float]:
    """Read one damaged picture: status, what escaped ('' if nothing) and the processor time, s."""
    data = DAMAGES[damage](_of_reading(kind, reading), np.random.default_rng(seed))
    started, escape = time.process_time(), ""
    try:
        result = _read_all()[reading](data)
        status = result.status
        if damage == "cut" and status != "refused" and kind in _CUT_IS_FATAL:
            escape = "a value from a cut-off file"
        if status == "refused" and not result.reasons:
            escape = "refused without a reason"
    except Exception as problem:  # the finding this run is for
        status, escape = "raised", f"{type(problem).__name__}: {problem}"
    seconds = time.process_time() - started
    return status, escape or (f"{seconds:.1f} s" if seconds > BUDGET_S else ""), seconds


def worker(count: int, seed: int) -> int:
    """Run ``count`` cases in this process, which holds nothing else; prints a table. Exit code 1 on an escape."""
    import simplejpeg  # noqa: F401 - loaded before the base is measured, as is what follows

    rng, ends, escapes, slowest, total = np.random.default_rng(seed), Counter(), 0, (0.0, ""), 0.0
    for reading, kind in zip(DEMO_PHOTOS, ("jpeg", "png", "heic"), strict=True):
        case(reading, kind, "none", 0)
    base = peak_mb()
    for _ in range(count):
        chosen = tuple(str(rng.choice(sorted(t))) for t in (DEMO_PHOTOS, PICTURES, DAMAGES))
        number = int(rng.integers(2**32))
        before = peak_mb()
        status, escape, seconds = case(*chosen, number)
        if peak_mb() > base + BUDGET_MB and peak_mb() > before:
            escape = escape or f"{peak_mb() - base:.0f} MB over the base"
        ends[chosen[2], status] += 1
        total += seconds
        slowest = max(slowest, (seconds, f"{chosen} seed {number}"))
        if escape:
            escapes += 1
            print(f"{chosen} seed {number}: {escape}", flush=True)
    for (damage, status), n in sorted(ends.items()):
        print(f"{damage:12s} {status:10s} {n}")
    print(f"{count} pictures, {escapes} escaped; {total:.0f} s; slowest {slowest[0]:.2f} s ({slowest[1]}); ", end="")
    print(f"peak {peak_mb():.0f} MB, {peak_mb() - base:.0f} MB over the base")
    return int(escapes > 0)


def main(count: int, seed: int, per_process: int = 2000) -> int:
    """Run ``count`` damaged pictures in processes of their own, bounded in memory and time."""
    worst = 0
    for start in range(0, count, per_process):
        n = min(per_process, count - start)
        call = [sys.executable, "-m", "tests.fuzz_pictures", "--worker", str(n), str(seed + start)]
        environment = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "OPENCV_LOG_LEVEL": "ERROR"}
        try:
            done = subprocess.run(
                call, env=environment, timeout=60 + 4 * n, check=False, preexec_fn=_bounded, cwd=DEMO.parents[1]
            )
            worst = max(worst, abs(done.returncode))
        except subprocess.TimeoutExpired:
            print(f"stopped: seed {seed + start} hangs")
            worst = 1
    return worst


def _bounded() -> None:
    resource.setrlimit(resource.RLIMIT_AS, (4_000_000_000, 4_000_000_000))


if __name__ == "__main__":
    own = sys.argv[1:2] == ["--worker"]
    numbers = [int(a) for a in sys.argv[1 + own :]] + [1000, 0][len(sys.argv[1 + own :]) :]
    sys.exit(worker(*numbers) if own else main(*numbers))
