"""Opening photos: every format to the same upright pixels, the scale back to full size, and refusals."""

import hashlib
import io
import sys

import cv2
import numpy as np
import pytest
from PIL import Image, ImageCms
from PIL.TiffImagePlugin import IFDRational

from stripread.errors import Refused
from stripread.imagefile import MAX_BYTES
from stripread.photo import open_photo, thumbnail_jpeg
from tests.cardshots import jpeg


def smooth(width=640, height=420, seed=3):
    """A picture that lossy formats keep within a few levels and that no turn or flip leaves alone."""
    coarse = np.random.default_rng(seed).uniform(30, 220, (5, 7, 3)).astype(np.float32)
    return np.clip(cv2.resize(coarse, (width, height), interpolation=cv2.INTER_CUBIC), 0, 255).astype(np.uint8)


def saved(pixels, file_format, **options) -> bytes:
    out = io.BytesIO()
    image = pixels if isinstance(pixels, Image.Image) else Image.fromarray(pixels)
    image.save(out, file_format, **options)
    return out.getvalue()


def refusal(data: bytes) -> str:
    with pytest.raises(Refused) as caught:
        open_photo(data)
    return caught.value.reason.code


@pytest.mark.parametrize(
    ("file_format", "options"),
    [
        ("JPEG", {"quality": 95, "subsampling": 0}),
        ("JPEG", {"quality": 95, "progressive": True}),
        ("PNG", {}),
        ("WEBP", {"quality": 95}),
        ("TIFF", {}),
        ("TIFF", {"compression": "tiff_lzw"}),
    ],
)
def test_formats_give_the_same_pixels(file_format, options):
    pixels = smooth()
    data = saved(pixels, file_format, **options)
    photo = open_photo(data)
    assert photo.pixels.shape == pixels.shape
    assert photo.scale == 1
    assert np.abs(photo.pixels.astype(int) - pixels).mean() < 2.5
    assert photo.sha256 == hashlib.sha256(data).hexdigest()


def test_heic():
    import pillow_heif

    pixels = smooth()
    out = io.BytesIO()
    pillow_heif.from_pillow(Image.fromarray(pixels)).save(out, quality=95)
    assert np.abs(open_photo(out.getvalue()).pixels.astype(int) - pixels).mean() < 3


def test_heic_without_its_extra_names_the_extra(monkeypatch):
    monkeypatch.setitem(sys.modules, "pillow_heif", None)
    with pytest.raises(Refused, match=r"stripread\[heic\]"):
        open_photo(b"\0\0\0\x18ftypheic" + bytes(200))


@pytest.mark.parametrize("file_format", ["JPEG", "PNG", "WEBP", "TIFF", "HEIF"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_exif_orientation_is_obeyed_once(file_format, orientation):
    """The eight turns written by hand from EXIF 2.32, tag 274 (which sides row 0 and column 0 of the file are)."""
    upright = smooth()
    stored = {
        1: upright,
        2: upright[:, ::-1],
        3: upright[::-1, ::-1],
        4: upright[::-1],
        5: upright.transpose(1, 0, 2),
        6: upright[:, ::-1].transpose(1, 0, 2),  # row 0 of the file is the right side
        7: upright[::-1, ::-1].transpose(1, 0, 2),
        8: upright[::-1].transpose(1, 0, 2),  # row 0 of the file is the left side
    }[orientation]
    exif = Image.Exif()
    exif[274] = orientation
    if file_format == "HEIF":
        import pillow_heif

        heif = pillow_heif.from_pillow(Image.fromarray(np.ascontiguousarray(stored)))
        heif[0].info["exif"] = exif.tobytes()  # the encoder writes the turn as HEIF's own property, and in EXIF
        out = io.BytesIO()
        heif.save(out, quality=95)
        data = out.getvalue()
    else:
        data = saved(
            np.ascontiguousarray(stored), file_format, exif=exif, **({} if file_format == "TIFF" else {"quality": 95})
        )
    photo = open_photo(data)
    assert photo.pixels.shape == upright.shape
    assert photo.full_size == (640, 420)
    assert np.abs(photo.pixels.astype(int) - upright).mean() < 4


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_reduced_decode_keeps_places(orientation):
    """A dot of the full-size upright picture is found at the same place through the reduced one, also at odd sizes."""
    stored = np.full((2303, 4033, 3), 40, np.uint8)
    at_stored = np.array([3001.0, 1500.0])
    cv2.circle(stored, (3001, 1500), 20, (240, 240, 240), -1)
    exif = Image.Exif()
    exif[274] = orientation
    photo = open_photo(saved(stored, "JPEG", quality=95, exif=exif))
    full = {
        1: at_stored,
        3: np.array([4032 - 3001.0, 2302 - 1500.0]),
        6: np.array([2302 - 1500.0, 3001.0]),
        8: np.array([1500.0, 4032 - 3001.0]),
    }[orientation]
    rows, columns = np.nonzero(photo.pixels[..., 1] > 140)
    seen = photo.to_full(np.array([[columns.mean(), rows.mean()]]))[0]
    assert photo.scale == 2
    assert np.abs(seen - full).max() < 0.3


def test_sixteen_bit_grey_palette_and_transparency():
    pixels = smooth()
    wide = (pixels[..., 1].astype(np.uint16) << 8) + 77
    assert (
        np.abs(open_photo(saved(Image.fromarray(wide), "PNG")).pixels[..., 0].astype(int) - pixels[..., 1]).max() <= 1
    )
    assert (
        np.abs(open_photo(saved(Image.fromarray(wide), "TIFF")).pixels[..., 0].astype(int) - pixels[..., 1]).max() <= 1
    )
    deep = cv2.imencode(".png", (pixels[..., ::-1].astype(np.uint16) << 8) + 77)[1].tobytes()
    assert np.abs(open_photo(deep).pixels.astype(int) - pixels).max() <= 1
    deep = cv2.imencode(".tiff", (pixels[..., ::-1].astype(np.uint16) << 8) + 77)[1].tobytes()
    assert np.abs(open_photo(deep).pixels.astype(int) - pixels).max() <= 1
    palette = Image.fromarray(pixels).quantize(64)
    assert np.abs(open_photo(saved(palette, "PNG")).pixels.astype(int) - np.asarray(palette.convert("RGB"))).max() == 0
    clear = np.dstack([pixels, np.full(pixels.shape[:2], 128, np.uint8)])
    clear[:100, :, 3] = 0
    seen = open_photo(saved(clear, "PNG")).pixels.astype(int)
    assert (seen[:100] == 255).all()
    assert np.abs(seen[100:] - (pixels[100:] * 128.0 + 255.0 * 127) / 255).max() <= 2


def test_cmyk_jpeg():
    pixels = smooth()
    seen = open_photo(saved(Image.fromarray(pixels).convert("CMYK"), "JPEG", quality=95)).pixels
    assert np.abs(seen.astype(int) - pixels).mean() < 4


def test_animation_gives_its_first_picture():
    first, second = smooth(), 255 - smooth()
    data = saved(first, "PNG", save_all=True, append_images=[Image.fromarray(second)])
    assert np.array_equal(open_photo(data).pixels, first)
    data = saved(first, "WEBP", save_all=True, append_images=[Image.fromarray(second)], quality=95)
    assert np.abs(open_photo(data).pixels.astype(int) - first).mean() < 5


def display_p3_profile() -> bytes:
    """Make a Display P3 profile: sRGB's curve with P3's primaries, D50-adapted (ICC's own registry of Display P3,
    from memory: rounded to four decimals)."""
    data = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    colorants = {
        b"rXYZ": (0.5151, 0.2412, -0.0011),
        b"gXYZ": (0.2920, 0.6922, 0.0419),
        b"bXYZ": (0.1571, 0.0666, 0.7841),
    }
    for n in range(int.from_bytes(data[128:132], "big")):
        entry = 132 + 12 * n
        if bytes(data[entry : entry + 4]) in colorants:
            at = int.from_bytes(data[entry + 4 : entry + 8], "big") + 8
            for j, v in enumerate(colorants[bytes(data[entry : entry + 4])]):
                data[at + 4 * j : at + 4 * j + 4] = round(v * 65536).to_bytes(4, "big", signed=True)
    return bytes(data)


def test_display_p3_is_brought_to_srgb():
    """Against colour-science's own Display P3 and sRGB."""
    import colour

    pixels = np.clip(smooth(), 90, 180)
    photo = open_photo(saved(pixels, "PNG", icc_profile=display_p3_profile()))
    assert np.array_equal(photo.pixels, pixels)  # as written; turned only where needed
    expected = colour.RGB_to_RGB(
        pixels / 255.0, "Display P3", "sRGB", apply_cctf_decoding=True, apply_cctf_encoding=True
    )
    assert np.abs(photo.to_srgb(photo.pixels) - 255 * expected).max() < 1.6


def test_srgb_and_broken_profiles_change_nothing():
    pixels = smooth()
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    for profile in (srgb, b"not a profile", display_p3_profile()[:200]):
        photo = open_photo(saved(pixels, "PNG", icc_profile=profile))
        assert photo.convert is None
        assert photo.to_srgb(photo.pixels) is photo.pixels


def test_the_camera_that_the_file_names():
    exif = Image.Exif()
    assert open_photo(saved(smooth(), "JPEG", exif=exif)).camera is None
    exif[272] = "model 7\n"
    for form in ("JPEG", "PNG", "WEBP", "TIFF"):
        assert open_photo(saved(smooth(), form, exif=exif)).camera == "model 7"
    exif[271] = "maker"
    assert open_photo(saved(smooth(), "JPEG", exif=exif)).camera == "maker model 7"
    exif[272] = "x" * 100  # longer than is read
    assert open_photo(saved(smooth(), "JPEG", exif=exif)).camera == "maker"


def test_the_lens_that_the_file_names_tells_a_phones_cameras_apart():
    """LensModel and FocalLength, tags 42036 and 37386 of EXIF 2.32, as Pillow writes them."""
    exif = Image.Exif()
    exif[271], exif[272] = "maker", "model 7"
    assert open_photo(saved(smooth(), "JPEG", exif=exif)).phone == "maker model 7"
    detail = exif.get_ifd(0x8769)
    detail[37386] = IFDRational(27, 5)
    assert open_photo(saved(smooth(), "JPEG", exif=exif)).phone == "maker model 7, 5.4 mm"
    detail[42036] = "rear\n"
    for form in ("JPEG", "PNG", "WEBP"):
        assert open_photo(saved(smooth(), form, exif=exif)).phone == "maker model 7, rear 5.4 mm"
    detail[37386] = IFDRational(0, 5)
    assert open_photo(saved(smooth(), "JPEG", exif=exif)).phone == "maker model 7, rear"
    nameless = Image.Exif()
    nameless.get_ifd(0x8769)[42036] = "rear"
    assert open_photo(saved(smooth(), "JPEG", exif=nameless)).phone is None


def test_time_taken():
    exif = Image.Exif()
    exif.get_ifd(0x8769)[36867] = "2025:03:04 05:06:07"
    assert open_photo(saved(smooth(), "JPEG", exif=exif)).taken_at == "2025-03-04T05:06:07"
    exif.get_ifd(0x8769)[36881] = "+02:00"
    assert open_photo(saved(smooth(), "JPEG", exif=exif)).taken_at == "2025-03-04T05:06:07+02:00"
    exif.get_ifd(0x8769)[36867] = "0000:00:00 00:00:00"
    assert open_photo(saved(smooth(), "JPEG", exif=exif)).taken_at is None
    assert open_photo(jpeg(smooth())).taken_at is None


def test_refusals():
    good = jpeg(smooth())
    assert refusal(b"") == "not_a_picture"
    assert refusal(b"%PDF-1.7 not a picture") == "not_a_picture"
    assert refusal(saved(smooth(), "GIF")) == "not_a_picture"
    assert refusal(saved(np.zeros((1, 1, 3), np.uint8), "PNG")) == "too_small"
    assert refusal(b"\xff" * (MAX_BYTES + 1)) == "not_a_picture"
    assert refusal(saved(Image.fromarray(np.zeros((300, 300), np.float32)), "TIFF")) == "not_a_picture"
    with pytest.raises(Refused, match="Send the photo again"):
        open_photo(good[: len(good) // 2])
    # what phones append after the picture is no fault
    assert open_photo(good + b"trailer" * 50).full_size == (640, 420)


def test_a_header_that_lies_is_refused_before_decoding():
    data = bytearray(jpeg(smooth()))
    at = data.find(b"\xff\xc0") + 5  # SOF0: height and width follow the precision
    data[at : at + 4] = (9000).to_bytes(2, "big") + (9000).to_bytes(2, "big")
    with pytest.raises(Refused, match="promises"):
        open_photo(bytes(data))
    data[at : at + 4] = (65500).to_bytes(2, "big") + (65500).to_bytes(2, "big")
    assert refusal(bytes(data)) == "not_a_picture"


def test_thumbnail_is_small_upright_and_bare():
    exif = Image.Exif()
    exif[274] = 6
    exif[271] = "maker"
    photo = open_photo(saved(smooth(), "JPEG", exif=exif))
    small = Image.open(io.BytesIO(thumbnail_jpeg(photo, 200)))
    assert small.size == (131, 200)
    assert not small.getexif()
    assert "icc_profile" not in small.info
    big = cv2.resize(photo.pixels, small.size, interpolation=cv2.INTER_AREA)
    assert np.abs(np.asarray(small).astype(int) - big).mean() < 3
