"""Hostile files: each is answered within 2 s of processor time and 300 MB over the base, in a process of its own.

And cut-off files: refused as such by all three readings, while what phones append to a whole photo spoils nothing.
"""

import io
import json
import struct
import subprocess
import sys
import zlib

import numpy as np
import pytest
from PIL import Image

from stripread.card.find import CardTrace, find_card
from stripread.card.layout import layout
from stripread.imagefile.header import MAX_PIXELS
from stripread.ph.profile import load_profile
from stripread.ph.read import read_ph
from stripread.solid.read import read_solid
from stripread.tint.read import read_tint
from tests.fuzz_pictures import BUDGET_MB, BUDGET_S, DEMO, DEMO_PHOTOS, PICTURES, _of_reading

pytestmark = pytest.mark.slow  # a process for each file

_MEASURE = """
import json, resource, sys, time
import cv2, pillow_heif, simplejpeg
from stripread.errors import Refused
from stripread.photo import open_photo
data = open(sys.argv[1], "rb").read()
peak = lambda: resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
base, start = peak(), time.process_time()
try:
    open_photo(data); end = "opened"
except Refused as refused:
    end = refused.reason.code
print(json.dumps([end, time.process_time() - start, peak() - base]))
"""


def measured(data: bytes, tmp_path) -> tuple[str, float, float]:
    """How opening a file ended, processor time in s, memory over the base in MB."""
    file = tmp_path / "picture"
    file.write_bytes(data)
    done = subprocess.run([sys.executable, "-c", _MEASURE, str(file)], capture_output=True, check=True, text=True)
    return tuple(json.loads(done.stdout))


def saved(image, file_format, **options) -> bytes:
    out = io.BytesIO()
    image.save(out, file_format, **options)
    return out.getvalue()


def png(size, *chunks, depth=8, colour=2) -> bytes:
    def chunk(kind, body):
        return len(body).to_bytes(4, "big") + kind + body + zlib.crc32(kind + body).to_bytes(4, "big")

    head = struct.pack(">IIBBBBB", *size, depth, colour, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunk(k, b) for k, b in [(b"IHDR", head), *chunks, (b"IEND", b"")])


def many_scans() -> bytes:
    """A progressive JPEG whose last scan comes 2,000 times."""
    data = saved(Image.new("RGB", (4000, 3000), (90, 120, 60)), "JPEG", progressive=True, quality=50)
    at = data.rfind(b"\xff\xda")
    return data[:at] + data[at:-2] * 2000 + data[-2:]


def many_exif_segments() -> bytes:
    segment = b"\xff\xe1" + (65002).to_bytes(2, "big") + b"Exif\0\0" + bytes(64994)
    plain = saved(Image.new("RGB", (800, 600)), "JPEG")
    return plain[:2] + segment * 900 + plain[2:]


def noise(n: int) -> bytes:
    return np.random.default_rng(0).bytes(n)


def tiff(entries, tail=b"") -> bytes:
    body = b"".join(struct.pack("<HHII", *e) for e in sorted(entries))
    return b"II*\0" + struct.pack("<IH", 8, len(entries)) + body + bytes(4) + tail


def _tiff_bomb() -> bytes:
    """Every strip is the same packed block of zeros."""
    packed = zlib.compress(bytes(6000 * 1000 * 3), 9)
    n = 500
    at = 8 + 2 + 12 * 9 + 4
    entries = [(256, 4, 1, 6000), (257, 4, 1, 6000), (258, 3, 1, 8), (259, 3, 1, 8), (262, 3, 1, 2), (277, 3, 1, 3)]
    entries += [(278, 4, 1, 1000), (273, 4, n, at), (279, 4, n, at + 4 * n)]
    return tiff(entries, struct.pack(f"<{n}I", *[at + 8 * n] * n) + struct.pack(f"<{n}I", *[len(packed)] * n) + packed)


HOSTILE = {
    "a progressive JPEG of 2,000 scans": many_scans,
    "900 EXIF segments": many_exif_segments,
    "a PNG of 200 million pixels": lambda: png((14000, 14000), (b"IDAT", zlib.compress(bytes(14000 * 42001), 9))),
    "a PNG of 16 bits and four channels": lambda: png(
        (7000, 7000), (b"IDAT", zlib.compress(bytes(7000 * 56001), 1) + noise(800_000)), depth=16, colour=6
    ),
    "a PNG's profile that inflates to a gigabyte": lambda: png(
        (800, 600),
        (b"iCCP", b"x\0\0" + zlib.compress(bytes(1_000_000_000), 9)),
        (b"IDAT", zlib.compress(bytes(600 * 2401), 1)),
    ),
    "a PNG's text that inflates to a gigabyte": lambda: png(
        (800, 600),
        (b"zTXt", b"x\0\0" + zlib.compress(bytes(1_000_000_000), 9)),
        (b"IDAT", zlib.compress(bytes(600 * 2401), 1)),
    ),
    "a million PNG chunks": lambda: png((800, 600), *[(b"tEXt", b"a\0b")] * 1_000_000, (b"IDAT", b"x")),
    "a TIFF tag of four thousand million values": lambda: tiff(
        [(256, 4, 1, 800), (257, 4, 1, 600), (273, 4, 2**32 - 1, 8), (279, 4, 2**32 - 1, 8)], noise(100_000)
    ),
    "a TIFF whose strips are one block": _tiff_bomb,
    "a WebP of 16,383 pixels a side": lambda: (
        b"RIFF" + (200_000 + 12).to_bytes(4, "little") + b"WEBPVP8L" + (200_000).to_bytes(4, "little")
        + b"\x2f\xfe\xbf\xff\x0f" + noise(199_995)
    ),
    "a progressive JPEG of the largest size": lambda: saved(
        Image.new("L", (11000, 10900)), "JPEG", progressive=True, quality=90
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", sorted(HOSTILE))
def test_hostile_files_stay_within_the_budget(name, tmp_path):
    end, seconds, memory = measured(HOSTILE[name](), tmp_path)
    assert end in ("opened", "not_a_picture", "file_cut_off")
    assert seconds < BUDGET_S
    assert memory < BUDGET_MB


def test_the_largest_phone_photo_is_opened_within_the_budget(tmp_path):
    """48 MP in JPEG: 8064 x 6048, the largest common size (common practice, no source)."""
    assert MAX_PIXELS > 8064 * 6048
    coarse = Image.fromarray(np.random.default_rng(0).integers(0, 255, (378, 504, 3), dtype=np.uint8))
    big = coarse.resize((8064, 6048), Image.Resampling.BICUBIC)
    for progressive in (False, True):
        end, seconds, memory = measured(saved(big, "JPEG", quality=80, progressive=progressive), tmp_path)
        assert end == "opened"
        assert seconds < BUDGET_S
        assert memory < BUDGET_MB


PROFILE = load_profile(DEMO / "profile.toml")
READINGS = {"ph": lambda data: read_ph(data, PROFILE), "tint": read_tint, "solid": read_solid}


@pytest.mark.parametrize("kind", ["jpeg", "jpeg, progressive", "png", "webp", "tiff", "heic"])
@pytest.mark.parametrize("reading", sorted(READINGS))
def test_a_cut_off_file_is_refused_by_every_reading(reading, kind):
    whole = _of_reading(kind, reading)
    for part in (0.5, 0.8, 0.97):
        for end in (b"", b"\xff\xd9" if kind.startswith("jpeg") else b""):
            result = READINGS[reading](whole[: int(part * len(whole))] + end)
            assert result.status == "refused"
            assert result.reasons[0].code == "file_cut_off"
            assert "Send the photo again" in result.reasons[0].message


def test_a_jpeg_whose_middle_is_missing_is_refused():
    whole = _of_reading("jpeg", "tint")
    n = len(whole)
    result = read_tint(whole[: n // 2] + whole[int(n * 0.7) :])
    assert result.reasons[0].code == "file_cut_off"


@pytest.mark.parametrize("kind", ["jpeg", "jpeg, turned", "png", "webp", "heic"])
@pytest.mark.parametrize("tail", [b"trailer" * 100, b"\xff\xd8\xff\xe0 half a second picture", bytes(5000)])
def test_what_phones_append_spoils_nothing(kind, tail):
    whole = _of_reading(kind, "solid")
    plain, longer = read_solid(whole), read_solid(whole + tail)
    assert plain.status != "refused"
    assert longer.lab == plain.lab


def test_vendor_segments_and_a_second_picture_spoil_nothing():
    image = Image.open(DEMO / DEMO_PHOTOS["solid"])
    mpo = saved(image, "MPO", save_all=True, append_images=[image.resize((400, 300))], quality=90)
    assert read_solid(mpo).status != "refused"
    whole = _of_reading("jpeg", "solid")
    vendor = b"".join(bytes((0xFF, m, 0x40, 0)) + bytes(0x3FFE) for m in (*range(0xE3, 0xEE), 0xEF, 0xFE))
    padded = whole[:-2] + bytes(7) + whole[-2:]  # zeros between the coded data and the end mark
    for data in (whole[:2] + vendor + whole[2:], padded):
        assert read_solid(data).lab == read_solid(whole).lab


def test_few_clean_patches_refuse_all_three_readings():
    """The greater part of the card's patches burnt out or black: too few are left to correct colours by."""
    for reading, read in READINGS.items():
        data = _of_reading("png", reading)
        trace = CardTrace()
        find_card(data, trace)
        pixels = np.array(trace.photo.pixels)
        sent = layout().nominal_srgb()
        light = sorted(np.flatnonzero(sent.min(axis=1) > 0.75), key=lambda n: -sent[n].sum())
        kept = light[: min(11, int(0.6 * len(light)) + 1)]  # the whites are not burnt out, which has its own reason
        for n, patch in enumerate(layout().patches):
            if n in kept:
                continue
            x, y, w, h = patch.rect_mm
            steps = np.linspace(0.0, 1.0, 40)
            corners = np.array([[x + w * i, y + h * j] for i in steps for j in steps])
            at = np.rint(trace.pose.to_px(corners)).astype(int)
            pixels[at[:, 1], at[:, 0], 2] = 255
        result = read(saved(Image.fromarray(pixels), "PNG", compress_level=1))
        assert result.status == "refused"
        assert result.reasons[0].code == "patches_unusable"


def test_every_kind_of_the_fuzzer_is_read_when_whole():
    for kind in PICTURES:
        if kind != "jpeg, grey":
            assert read_solid(_of_reading(kind, "solid")).status != "refused", kind
