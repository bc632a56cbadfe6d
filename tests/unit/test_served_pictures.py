"""What is served of a photo is made anew: a marker put in every place of every format occurs in none of it.

The served file is taken apart too: only segments that we write ourselves are there, with a profile of our own bytes.
"""

import io
import struct
import zlib

import cv2
import numpy as np
import pytest
from PIL import Image

from service.readers.pictures import NotAPicture, clean, thumbnail
from stripread.imagefile import profile_bytes
from tests.damaged_structure import jpeg_pieces

MARKER = b"Xq7owner-of-this-phone"
UTF16 = MARKER.decode().encode("utf-16-le")


def smooth(width=400, height=300):
    coarse = np.random.default_rng(3).uniform(30, 220, (5, 7, 3)).astype(np.float32)
    return np.clip(cv2.resize(coarse, (width, height), interpolation=cv2.INTER_CUBIC), 0, 255).astype(np.uint8)


def saved(file_format, **options) -> bytes:
    out = io.BytesIO()
    Image.fromarray(smooth()).save(out, file_format, **options)
    return out.getvalue()


def exif() -> bytes:
    block = Image.Exif()
    block[271], block[37510] = MARKER.decode(), MARKER
    return block.tobytes()


def profile(name="srgb") -> bytes:
    """A profile with the marker behind its end and in its description."""
    data = bytearray(profile_bytes(name))
    at = data.find("sRGB".encode("utf-16-be"))
    if at > 0:
        data[at : at + 8] = "Xq7o".encode("utf-16-be")
    return bytes(data) + MARKER + UTF16


def segment(marker, head=b"") -> bytes:
    body = head + MARKER + UTF16 + zlib.compress(MARKER * 3)
    return bytes((0xFF, marker)) + (len(body) + 2).to_bytes(2, "big") + body


def jpegs() -> dict[str, bytes]:
    plain = saved("JPEG", quality=90)
    places = {f"APP{n}": plain[:2] + segment(0xE0 + n) + plain[2:] for n in range(16)}
    places["comment"] = plain[:2] + segment(0xFE) + plain[2:]
    places["JFIF thumbnail"] = plain[:2] + segment(0xE0, b"JFIF\0\x01\x01\0\0\x01\0\x01\x09\x09") + plain[20:]
    places["JFXX"] = plain[:20] + segment(0xE0, b"JFXX\0\x10") + plain[20:]
    places["Adobe"] = plain[:20] + segment(0xEE, b"Adobe\0\x64\0\0\0\0\x01") + plain[20:]
    places["XMP"] = plain[:20] + segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0") + plain[20:]
    places["ICC by name only"] = plain[:20] + segment(0xE2, b"ICC_PROFILE\0\x01\x01") + plain[20:]
    places["between segments"] = plain[:20] + MARKER + UTF16 + plain[20:]
    places["trailing"] = plain + MARKER + UTF16
    places["EXIF"] = saved("JPEG", exif=exif())
    places["profile"] = saved("JPEG", icc_profile=profile())
    places["profile P3"] = saved("JPEG", icc_profile=profile("display_p3"))
    other = bytearray(profile_bytes("display_p3"))
    at = other.find(b"rXYZ")
    at = int.from_bytes(other[at + 4 : at + 8], "big")
    other[at + 8 : at + 12] = round(0.6 * 65536).to_bytes(4, "big")
    places["another profile"] = saved("JPEG", icc_profile=bytes(other) + MARKER)
    scans = saved("JPEG", progressive=True)
    at = scans.rfind(b"\xff\xda")
    places["between scans"] = scans[:at] + segment(0xFE) + segment(0xE5) + scans[at:]
    return places


def chunk(kind, body) -> bytes:
    return len(body).to_bytes(4, "big") + kind + body + zlib.crc32(kind + body).to_bytes(4, "big")


def pngs() -> dict[str, bytes]:
    plain, packed = saved("PNG"), zlib.compress(MARKER * 3)
    texts = {
        "tEXt": b"a\0" + MARKER,
        "zTXt": b"a\0\0" + packed,
        "iTXt": b"a\0\1\0\0\0" + packed,
        "eXIf": exif()[6:],
        "iCCP": b"a\0\0" + zlib.compress(profile()),
        "prVt": MARKER,
    }
    places = {k: plain[:33] + chunk(k.encode(), body) + plain[33:] for k, body in texts.items()}
    places["trailing"] = plain + MARKER
    places["behind the pixels"] = plain[:-12] + chunk(b"tEXt", b"a\0" + MARKER) + plain[-12:]
    return places


def webps() -> dict[str, bytes]:
    named = saved("WEBP", exif=exif(), xmp=MARKER, icc_profile=profile())
    return {"EXIF, XMP, ICCP": named, "trailing": named + MARKER, "unknown chunk": _riff_with(named, b"prVt", MARKER)}


def _riff_with(data, kind, body) -> bytes:
    body += b"\0" * (len(body) % 2)
    whole = data + kind + struct.pack("<I", len(body)) + body
    return whole[:4] + struct.pack("<I", len(whole) - 8) + whole[8:]


def others() -> dict[str, bytes]:
    tags = {271: MARKER.decode(), 270: MARKER.decode(), 700: MARKER, 34377: MARKER}
    places = {
        "TIFF tags": saved("TIFF", tiffinfo=tags, icc_profile=profile()),
        "TIFF trailing": saved("TIFF") + MARKER,
        "MPO": saved("MPO", save_all=True, append_images=[Image.fromarray(smooth())], exif=exif()) + MARKER,
    }
    import pillow_heif

    heif = pillow_heif.from_pillow(Image.fromarray(smooth()))
    heif[0].info.update(exif=exif(), xmp=MARKER, icc_profile=profile())
    out = io.BytesIO()
    heif.save(out, quality=90)
    places["HEIC"] = out.getvalue()
    places["HEIC box"] = out.getvalue() + struct.pack(">I", 8 + len(MARKER)) + b"free" + MARKER
    return places


PLACES = {
    f"{name}: {place}": data
    for name, table in (("JPEG", jpegs()), ("PNG", pngs()), ("WebP", webps()), ("", others()))
    for place, data in table.items()
}


@pytest.mark.parametrize("place", sorted(PLACES))
def test_nothing_of_the_original_but_its_pixels_is_served(place, tmp_path):
    photo = tmp_path / "photo"
    photo.write_bytes(PLACES[place])
    for served in (clean(photo), thumbnail(photo)):
        shown = np.asarray(Image.open(io.BytesIO(served)).resize((40, 30))).astype(int)
        there = np.asarray(Image.fromarray(smooth()).resize((40, 30)))
        # a profile of other primaries moves the colours
        assert np.abs(shown - there).mean() < (25 if "another" in place or "P3" in place else 5)
        for trace in (MARKER, MARKER[:8], UTF16, UTF16[:12], "Xq7o".encode("utf-16-be")):
            assert trace not in served
        for at in range(len(served) - 2):  # nothing packed either
            if served[at] == 0x78 and served[at + 1] in (0x01, 0x5E, 0x9C, 0xDA):
                try:
                    assert MARKER not in zlib.decompressobj().decompress(served[at:], 100_000)
                except zlib.error:
                    continue
        pieces = [p for p in jpeg_pieces(served) if p]
        assert {p[1] for p in pieces} <= {0xD8, 0xE0, 0xE2, 0xDB, 0xC0, 0xC4, 0xDA, 0xD9}
        assert pieces[-1] == b"\xff\xd9"
        assert all(len(p) == 18 for p in pieces if p[1] == 0xE0)
        for p in pieces:
            if p[1] == 0xE2:
                assert p[18:] in (profile_bytes("srgb"), profile_bytes("display_p3"))


def test_display_p3_stays_and_turning_is_obeyed(tmp_path):
    photo = tmp_path / "photo"
    turned = Image.Exif()
    turned[274] = 6
    photo.write_bytes(saved("JPEG", icc_profile=profile("display_p3"), exif=turned))
    served = Image.open(io.BytesIO(clean(photo)))
    assert served.size == (300, 400)
    assert served.info["icc_profile"] == profile_bytes("display_p3")
    assert not served.getexif()
    assert Image.open(io.BytesIO(thumbnail(photo))).size == (240, 320)


def test_a_cut_off_photo_is_not_served(tmp_path):
    photo = tmp_path / "photo"
    photo.write_bytes(saved("JPEG")[:-3000])
    for make in (clean, thumbnail):
        with pytest.raises(NotAPicture):
            make(photo)
