"""The picture of a reading: draws whatever there is, shows the colours it was given, and never warns."""

import io
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from PIL import Image

from stripread.picture import parts
from stripread.picture.of_ph import PhPicture, draw_ph
from stripread.picture.parts import lab_to_display
from stripread.reasons import REASONS, because
from stripread.results import Alternative
from stripread.states.table import state

GRID = np.linspace(0, 14, 281)
TURNS = np.array([[0, 60, 40], [60, 0, 50], [0, -40, 20], [0, -10, -40], [20, 30, -30.0]])


def _rgb8(lab):
    return np.rint(255 * lab_to_display(lab)).astype(int)


@pytest.fixture(scope="module")
def full():
    """A whole reading of four pads on a made-up photo."""
    rng = np.random.default_rng(3)
    photo = rng.integers(120, 140, (600, 800, 3), dtype=np.uint8)
    card = np.array([[100, 100], [700, 120], [690, 520], [90, 500.0]])
    strip = np.array([[200, 200], [500, 210], [499, 240], [199, 230.0]])
    pads = np.stack([strip[0] + [[x, 2], [x + 30, 3], [x + 30, 28], [x, 27]] for x in (10, 50, 90, 130)])
    anchors = np.linspace(0, 14, len(TURNS))
    curve = np.stack([60 - 5 * n + 0 * GRID for n in range(4)], axis=1)[..., None] * [1.0, 0, 0]
    for n in range(4):
        curve[:, n, 1:] = np.stack([np.interp(GRID, anchors, np.roll(TURNS, n, axis=0)[:, k]) for k in (1, 2)], axis=1)
    return PhPicture(
        photo=photo,
        status="ok",
        title="rinse 3.jpg",
        caption="profile four-pad",
        card_px=card,
        strip_px=strip,
        pads_px=pads,
        pad_labs=curve[140] + 1.0,
        grid_ph=GRID,
        density=np.exp(-0.5 * ((GRID - 7) / 0.2) ** 2),
        curve_labs=curve,
        ph=7.0,
        interval=(6.6, 7.4),
        budget={"noise": 0.01, "light": 0.02, "curve": 0.01, "cross": -0.002},
    )


def _refused(full, code, **kept):
    bare = PhPicture(photo=full.photo, status="refused", title="x.jpg", reasons=(because(code),))
    return replace(bare, **kept)


def test_whole_reading_shows_its_colours(full):
    image = draw_ph(full)
    assert image.shape == (1000, 1600, 3)
    assert image.dtype == np.uint8
    right = image[:, 1000:].reshape(-1, 3).astype(int)
    for lab in full.pad_labs:  # each swatch is some 45 x 35 px of one colour
        assert (np.abs(right - _rgb8(lab)).max(axis=1) <= 1).sum() > 1000
    for pad in range(4):  # and the profile's colours at pH 2 and 12 are in the bars
        for place in (40, 240):
            assert (np.abs(right - _rgb8(full.curve_labs[place, pad])).max(axis=1) <= 3).sum() > 20


def test_value_status_and_posterior_change_the_picture(full):
    image = draw_ph(full)
    for change in (
        {"ph": 7.3},
        {"status": "doubtful"},
        {"interval": (6.5, 7.4)},
        {"density": full.density**4},
        {"alternatives": (Alternative(9.0, (8.8, 9.2), 0.2),)},
        {"reasons": (because("some_glare"),)},
        {"budget": {"noise": 1.0}},
        {"card_px": full.card_px + 9.0},
    ):
        assert (draw_ph(replace(full, **change)) != image).any(), change


def test_refusals_at_every_stage_draw(full):
    found = {"card_px": full.card_px}
    strip = {**found, "strip_px": full.strip_px}
    pads = {**strip, "pads_px": full.pads_px, "pad_labs": full.pad_labs}
    curve = {**pads, "curve_labs": full.curve_labs, "grid_ph": full.grid_ph}
    pictures = [
        draw_ph(_refused(full, "no_card")),
        draw_ph(_refused(full, "no_strip", **found)),
        draw_ph(_refused(full, "wrong_kind", **strip)),
        draw_ph(_refused(full, "glare_on_pads", **pads)),
        draw_ph(_refused(full, "off_curve", **curve)),
    ]
    stop = np.array(list(bytes.fromhex(state("reading", "refused").tone.light[1:])))
    for image in pictures:
        chip = image[30:75, 1380:1570].reshape(-1, 3).astype(int)
        assert (np.abs(chip - stop).max(axis=1) <= 2).mean() > 0.3
    assert all((one != other).any() for one, other in pairwise(pictures))


def test_hard_cases_draw_without_a_warning(full):
    unknown = full.pad_labs.copy()
    unknown[2] = np.nan
    one = slice(0, 1)
    for given in (
        replace(full, title="$x_1$ 第三 \U0001f9ea " + "long" * 40, caption="y" * 300),
        replace(full, pad_labs=unknown),
        replace(full, density=np.zeros_like(GRID)),
        replace(full, density=(GRID > 13.9) * 1.0, ph=14.0, interval=(13.95, 14.0)),
        replace(full, pads_px=full.pads_px[one], pad_labs=full.pad_labs[one], curve_labs=full.curve_labs[:, one]),
        replace(full, reasons=tuple(because(code, "12 %") for code in REASONS)),
        replace(full, card_px=full.card_px - 150.0),  # partly outside of the photo
        replace(full, photo=np.zeros((40, 3000, 3), np.uint8), card_px=None, strip_px=None, pads_px=None),
        _refused(full, "no_card", photo=np.zeros((1, 1, 3), np.uint8)),
    ):
        assert draw_ph(given).shape == (1000, 1600, 3)


def test_input_is_left_alone_and_threads_agree(full):
    before = full.photo.copy()
    with ThreadPoolExecutor(2) as pool:
        one, other = pool.map(draw_ph, [full, full])
    np.testing.assert_array_equal(one, other)
    np.testing.assert_array_equal(full.photo, before)


def test_png_holds_the_same_pixels(full):
    image = draw_ph(_refused(full, "blurred"))
    back = Image.open(io.BytesIO(parts.png(image)))
    assert back.format == "PNG"
    np.testing.assert_array_equal(np.asarray(back), image)


def test_importing_does_not_load_matplotlib():
    code = "import stripread.picture.of_ph, sys; sys.exit('matplotlib' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_straightened_strip_keeps_its_direction():
    photo = np.zeros((200, 200, 3), np.uint8)
    photo[20:180, 90:100] = [255, 0, 0]  # a strip standing upright ...
    photo[20:60, 90:100] = [0, 0, 255]  # ... its dipped end at the top
    quad = np.array([[100, 20], [100, 180], [90, 180], [90, 20]])
    flat = parts.straighten(photo, quad, width=320)
    assert flat.shape == (20, 320, 3)
    assert flat[10, 20, 2] > 200
    assert flat[10, 300, 0] > 200


def test_wrapped_lines_fit_and_lose_nothing():
    from matplotlib.textpath import TextPath

    for text in sorted((text for _, text in REASONS.values()), key=len)[::5]:  # short and long ones alike
        lines = parts.wrap(text, 400, 12)
        assert " ".join(lines) == text
        for line in lines:
            assert TextPath((0, 0), line, size=12).get_extents().width * parts.DPI / 72 <= 400 * 1.02


def test_display_colours_agree_with_colour_science():
    """colour-science 0.4.7 as independent way from CIELAB D50 to sRGB (Bradford); tolerance: one 8-bit step."""
    import colour

    d50 = np.array([0.96422, 1.0, 0.82521])
    lab = np.array([[60, 30, 20], [80, -20, 40], [40, 10, -30], [95, 0, 0], [20, 5, 5.0]])
    whites = [colour.xy_to_XYZ(colour.XYZ_to_xy(d50)), colour.xy_to_XYZ([0.3127, 0.3290])]
    xyz = colour.adaptation.chromatic_adaptation_VonKries(
        colour.Lab_to_XYZ(lab, colour.XYZ_to_xy(d50)), *whites, transform="Bradford"
    )
    wanted = colour.XYZ_to_sRGB(xyz, illuminant=[0.3127, 0.3290])
    np.testing.assert_allclose(lab_to_display(lab), wanted, atol=1 / 255)
