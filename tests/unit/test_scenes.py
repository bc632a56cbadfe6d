"""The renderer tells the truth: physics against outside sources, geometry against OpenCV, same seed same bytes."""

import ast
import csv
import io
from dataclasses import replace
from functools import cache
from pathlib import Path

import colour
import cv2
import numpy as np
import pytest
from PIL import Image, ImageCms

from stripread.card.layout import DICTIONARY, layout
from tests.scenes import StripState, kind, random_scene, render
from tests.scenes.bound import strip_bound
from tests.scenes.chart import chart_scene, chart_spectra
from tests.scenes.faults import FAULTS, bad_scene, not_a_picture, second_strip
from tests.scenes.icc import profile
from tests.scenes.phone import phone
from tests.scenes.printer import Printer
from tests.scenes.spectra import WAVELENGTHS, observer, source, true_lab, true_xyz
from tests.scenes.strips import DYES, RECIPES
from tests.scenes.surfaces import patch_spectra

pytestmark = pytest.mark.slow  # renders many photos

ROOT = Path(__file__).resolve().parents[2]
KINDS = ("four", "universal", "bromothymol", "three", "roll")


@cache
def photo(seed: int, sort: str = "four", hard: bool = False):
    scene = random_scene(np.random.default_rng(seed), sort, hard=hard)
    return scene, render(scene)


def upright(data: bytes) -> np.ndarray:
    return cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)[..., ::-1]


def hue_of(state: StripState, pad: int = 0) -> float:
    lab = true_lab(state.pad_spectra())[pad]
    return float(np.degrees(np.arctan2(lab[2], lab[1])) % 360)


def pixels_in(picture: np.ndarray, corners: np.ndarray) -> np.ndarray:
    """Pixels well inside a quadrilateral."""
    middle = corners.mean(axis=0)
    mask = np.zeros(picture.shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.round(middle + 0.6 * (corners - middle)).astype(np.int32)], 1)
    return picture[mask > 0].astype(float)


def test_only_the_layout_and_the_kinds_are_shared_with_the_reader():
    allowed = {"stripread.card.layout", "stripread.kind"}
    for path in (ROOT / "tests" / "scenes").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = []
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom):
                names = [node.module or ""]
            for name in names:
                if name.split(".")[0] in ("stripread", "calibration", "service"):
                    assert name in allowed, f"{path.name} imports {name}"


def test_nothing_in_the_reader_knows_the_renderer():
    for package in ("stripread", "calibration", "service"):
        for path in (ROOT / package).rglob("*.py"):
            assert "tests.scenes" not in path.read_text(encoding="utf-8"), path


@pytest.mark.parametrize(
    ("name", "xy"),
    [  # CIE 15, as shipped by colour-science: chromaticities of the same illuminants, there summed at 1 or 5 nm
        (name, colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"][name])
        for name in ("D65", "D50", "A", "FL2", "FL11", "LED-B1", "LED-B5", "LED-RGB1")
    ],
)
def test_light_sources_keep_their_colour_on_the_coarse_grid(name, xy):
    xyz = source(name) @ observer()
    # the grid stops at 400 and 700 nm and is 10 nm wide: a few thousandths, more for line spectra
    assert xyz[:2] / xyz.sum() == pytest.approx(np.asarray(xy), abs=0.006)


def test_lab_against_colour_science():
    rng = np.random.default_rng(0)
    reflectance = np.clip(0.5 + 0.4 * np.sin(WAVELENGTHS / 60 + rng.uniform(0, 6, (20, 1))), 0.02, 0.98)
    white = np.array([0.96422, 1.0, 0.82521])
    expected = colour.XYZ_to_Lab(true_xyz(reflectance), white[:2] / white.sum())
    # colour-science takes the white from xy: the same but for rounding
    assert true_lab(reflectance) == pytest.approx(expected, abs=1e-6)
    assert true_lab(np.ones((1, 31)))[0] == pytest.approx([100, 0, 0], abs=1e-9)


def test_pka_agree_with_the_table():
    # tests/data/indicators.csv, source in each of its rows; agreement of sources there is +-0.2
    with (ROOT / "tests" / "data" / "indicators.csv").open(encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["pka"]]
    checked = 0
    for row in rows:
        name = row["indicator"].split(" (")[0].replace("alizarin yellow R", "alizarin yellow")
        if name in DYES:
            assert min(abs(p - float(row["pka"])) for p in DYES[name].pka) <= 0.15, name
            checked += 1
    assert checked >= 12


def test_bromothymol_blue_turns_from_yellow_to_blue_over_its_published_range():
    # transition 6.0 to 7.6, yellow to blue: tests/data/indicators.csv
    yellow, blue = hue_of(StripState("bromothymol", 5.5)), hue_of(StripState("bromothymol", 8.6))
    assert 75 < yellow < 105
    assert 220 < blue < 290
    hues = [hue_of(StripState("bromothymol", p)) for p in np.arange(5.4, 8.8, 0.1)]
    assert np.all(np.diff(hues) > 0)
    # most of the way is gone inside the range, little outside
    inside = hue_of(StripState("bromothymol", 7.6)) - hue_of(StripState("bromothymol", 6.0))
    assert inside > 0.6 * (blue - yellow)


def test_universal_strip_shows_the_trade_s_colours():
    # common practice, no source: red in acid, yellow-orange at 3 to 4, green at 7, blue at 9 to 10
    def hue(ph: float) -> float:
        return hue_of(StripState("universal", ph))

    assert hue(0.5) < 45
    assert 50 < hue(3.0) < 85
    assert 60 < hue(4.0) < 95
    assert 120 < hue(7.0) < 175
    assert 200 < hue(9.5) < 300
    assert 260 < hue(12.5) < 340


@pytest.mark.parametrize("sort", KINDS)
def test_recipes_fit_their_kind(sort):
    assert len(RECIPES[sort].pads) == len(kind(sort).pads)
    assert StripState(sort, 7.0).pad_spectra().shape == (len(kind(sort).pads), 31)


def test_strips_of_one_lot_differ_less_than_lots():
    def spread(states):
        return np.std([true_lab(s.pad_spectra()).ravel() for s in states], axis=0).mean()

    one_lot = spread(StripState("four", 6.0, 1, n) for n in range(40))
    lots = spread(StripState("four", 6.0, n, n) for n in range(40))
    assert 0.1 < one_lot < lots < 3.0


def test_physical_bound_is_of_the_stated_size():
    # about 0.02 for four pads; a single pad cannot do better than four
    four = np.mean([strip_bound("four", p) for p in (3.0, 5.0, 7.0, 9.0, 11.0)])
    one = np.mean([strip_bound("universal", p) for p in (3.0, 5.0, 7.0, 9.0, 11.0)])
    assert 0.01 < four < 0.04
    assert four < one < 0.12
    assert strip_bound("four", 7.0, lots=False) < strip_bound("four", 7.0)


def test_printers():
    patches = layout().patches
    ramp = [n for n, p in enumerate(patches) if p.id.startswith("a")]
    whites = [n for n, p in enumerate(patches) if p.role == "white"]
    labs = np.array([true_lab(patch_spectra(Printer.from_seed(s))) for s in range(12)])
    assert np.all(np.diff(labs[:, ramp, 0], axis=1) > -0.2)  # the ramp never turns back
    assert np.all(labs[:, ramp[0], 0] < 35)
    assert np.all(labs[:, whites, 0] > 90)
    assert np.std(labs, axis=0).mean() > 2.0  # printers differ
    sheets = [true_lab(patch_spectra(Printer.from_seed(1).sheet(s))) for s in range(12)]
    step = np.linalg.norm(np.array(sheets) - labs[1], axis=-1).mean()
    assert 0.5 < step < 2.5  # sheets differ by 1 to 2
    grey = true_lab(patch_spectra(Printer.from_seed(1, grey_only=True)))
    assert np.linalg.norm(np.std(grey, axis=0)[1:]) < 3.0


def test_tone_curves_rise_and_differ():
    curves = np.array([phone(s).tone(np.linspace(0, 1, 200)) for s in range(12)])
    assert np.all(np.diff(curves, axis=1) > -1e-12)
    assert np.ptp(curves[:, 40]) > 0.1


def test_same_scene_same_bytes_and_other_seed_other_bytes():
    scene = random_scene(np.random.default_rng(3), size=(1008, 756))
    first = render(scene)
    assert render(scene).data == first.data
    assert render(replace(scene, shot_seed=scene.shot_seed + 1)).data != first.data


@pytest.mark.parametrize("seed", [0, 1, 2, 5])
def test_markers_stand_where_the_truth_says(seed):
    scene, made = photo(seed, hard=seed == 5)
    picture = upright(made.data)  # OpenCV turns by EXIF
    assert picture.shape[1::-1] == scene.size
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, DICTIONARY)))
    corners, ids, _ = detector.detectMarkers(picture[..., ::-1].copy())
    assert set(np.ravel(ids)) == set(made.truth.marker_px)
    off = np.array(
        [np.reshape(c, (4, 2)) - made.truth.marker_px[int(n)] for c, n in zip(corners, np.ravel(ids), strict=True)]
    )
    assert np.abs(off).max() < 2.0
    assert np.abs(off.mean(axis=(0, 1))) == pytest.approx([0, 0], abs=0.25)


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_camera_and_back(seed):
    from tests.scenes.photo import camera_of

    scene = replace(random_scene(np.random.default_rng(seed)), tilt_deg=35.0, curvature=6e-4)
    camera = camera_of(scene)
    mm = np.random.default_rng(1).uniform([0, 0], [148, 104], (50, 2))
    assert camera.to_card(camera.to_px(mm)) == pytest.approx(mm, abs=2e-3)
    px = camera.to_px(mm)
    assert np.all((px > 0) & (px < np.array(camera.size)))


def test_white_patches_are_white_quiet_and_not_clipped():
    # a phone's noise on an evenly lit white is a few codes of 255
    for seed in range(4):
        _, made = photo(seed)
        picture = upright(made.data)
        whites = [p for p in layout().patches if p.role == "white"]
        for patch in whites[::4]:
            x, y, w, h = patch.rect_mm
            inside = pixels_in(
                picture, made.truth.card_to_px(np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]]))
            )
            assert 0.3 < inside.std(axis=0).mean() < 8.0
            assert 90 < inside.mean() < 253


def test_pads_lie_where_the_truth_says():
    scene = random_scene(np.random.default_rng(4), "bromothymol", 5.9)
    made = render(scene)
    pad = pixels_in(upright(made.data), made.truth.strips[0].pad_corners_px[0]).mean(axis=0)
    assert pad[0] > pad[2] + 30  # yellow
    blue = render(replace(scene, strips=random_scene(np.random.default_rng(4), "bromothymol", 8.2).strips))
    pad = pixels_in(upright(blue.data), blue.truth.strips[0].pad_corners_px[0]).mean(axis=0)
    assert pad[2] > pad[0] + 30


def test_brighter_lamp_side_is_brighter():
    from tests.scenes.light import Lamp

    scene = replace(random_scene(np.random.default_rng(4)), lamps=(Lamp("D65", slope=(0.4, 0.0)),), roll_deg=0.0)
    made = render(scene)
    picture = upright(made.data)
    whites = sorted((p for p in layout().patches if p.role == "white"), key=lambda p: p.rect_mm[0])
    levels = []
    for patch in (whites[0], whites[-1]):
        x, y, w, h = patch.rect_mm
        corners = made.truth.card_to_px(np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]]))
        levels.append(pixels_in(picture, corners).mean())
    assert levels[1] > levels[0] + 10


@pytest.mark.parametrize("name", ["srgb", "p3"])
def test_profiles_are_read_by_little_cms(name):
    ours = ImageCms.ImageCmsProfile(io.BytesIO(profile(name)))
    red = Image.new("RGB", (1, 1), (200, 60, 40))
    out = ImageCms.profileToProfile(red, ours, ImageCms.createProfile("sRGB"), outputMode="RGB").getpixel((0, 0))
    if name == "srgb":
        assert np.abs(np.array(out) - (200, 60, 40)).max() <= 2
    else:
        # colour-science's Display P3 to sRGB as the independent reference
        linear = colour.RGB_COLOURSPACES["sRGB"].cctf_decoding(np.array([200, 60, 40]) / 255)
        expected = colour.RGB_to_RGB(linear, "Display P3", "sRGB", apply_cctf_encoding=True)
        assert np.abs(np.array(out) - 255 * np.clip(expected, 0, 1)).max() <= 3


def test_exif_time_and_profile_are_in_the_file():
    scene = replace(random_scene(np.random.default_rng(2)), icc="p3", orientation=6)
    opened = Image.open(io.BytesIO(render(scene).data))
    assert opened.getexif()[0x0112] == 6
    assert opened.getexif().get_ifd(0x8769)[0x9003] == scene.taken_at
    assert opened.info["icc_profile"] == profile("p3")
    assert opened.size == scene.size[::-1]


@pytest.mark.parametrize("fault", list(FAULTS))
def test_each_fault_can_be_photographed(fault):
    scene = bad_scene(np.random.default_rng(3), fault, size=(1008, 756))
    made = render(scene)
    assert made.truth.fault == fault
    assert upright(made.data).shape[1::-1] == scene.size


def test_faults_do_what_they_say():
    rng = np.random.default_rng(3)
    small = {"size": (1008, 756)}
    assert np.mean(upright(render(bad_scene(rng, "blown_out", **small)).data) == 255) > 0.2
    assert upright(render(bad_scene(rng, "too_dark", **small)).data).mean() < 40
    cut = render(bad_scene(rng, "card_cut_off", **small)).truth
    outside = [np.any((c < 0) | (c > np.array(cut.size))) for c in cut.marker_px.values()]
    assert sum(outside) >= 3
    for seed in range(4):
        with pytest.raises(Exception, match="identify"):
            Image.open(io.BytesIO(not_a_picture(np.random.default_rng(seed))))


def test_two_strips_do_not_overlap():
    rng = np.random.default_rng(8)
    truth = render(second_strip(random_scene(rng), 4.0, rng)).truth
    first, second = (s.pad_corners_mm for s in truth.strips)
    assert truth.strips[1].ph == 4.0
    assert second[..., 1].min() > first[..., 1].max()


def test_chart_is_off_by_about_three_and_lies_where_it_says():
    scene, swatches = chart_scene(np.random.default_rng(2), "universal")
    nominal = np.array([true_lab(StripState("universal", s.ph).pad_spectra())[s.pad] for s in swatches])
    off = np.linalg.norm(np.array([s.lab for s in swatches]) - nominal, axis=1)
    assert 1.5 < off.mean() < 5.0
    assert chart_spectra("universal", 1).shape == (15, 1, 31)
    made = render(scene)
    picture = upright(made.data)
    middles = made.truth.card_to_px(np.array([[s.x_mm, s.y_mm] for s in swatches]))
    box = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * 8
    seen = np.array([pixels_in(picture, m + box).mean(axis=0) for m in middles])
    assert seen[0, 0] > seen[0, 2] + 30  # pH 0 red
    assert seen[10, 2] > seen[10, 0]  # pH 10 blue


def test_large_photos_are_the_same_scene_enlarged(monkeypatch):
    scene = replace(random_scene(np.random.default_rng(2)), size=(2400, 1800))
    whole = render(scene)
    monkeypatch.setattr("tests.scenes.photo.LARGEST", 1_000_000)
    enlarged = render(scene)
    sizes = {Image.open(io.BytesIO(made.data)).size for made in (whole, enlarged)}
    assert sizes <= {(2400, 1800), (1800, 2400)}
    for number, corners in whole.truth.marker_px.items():
        assert enlarged.truth.marker_px[number] == pytest.approx(corners, abs=1.5)  # the small frame is whole pixels
    small = [cv2.resize(upright(made.data), (120, 90), interpolation=cv2.INTER_AREA) for made in (whole, enlarged)]
    assert np.abs(small[0].astype(float) - small[1]).mean() < 6


@pytest.mark.parametrize("form", ["PNG", "WEBP", "TIFF", "HEIF"])
def test_other_file_forms(form):
    import pillow_heif

    pillow_heif.register_heif_opener()
    scene = replace(random_scene(np.random.default_rng(2), size=(800, 600)), form=form, orientation=1)
    opened = Image.open(io.BytesIO(render(scene).data))
    assert opened.format == form
    assert opened.size == scene.size
    jpeg = upright(render(replace(scene, form="JPEG")).data)
    assert np.abs(np.asarray(opened.convert("RGB"), dtype=float) - jpeg).mean() < 8


def test_a_drying_pad_is_darker_at_its_edge():
    from tests.scenes.scene import Lying
    from tests.scenes.surfaces import strip_layers

    fresh, dried = (strip_layers(Lying(StripState("bromothymol", 7.0, drying=d)), 10)[1] for d in (0.0, 1.0))
    pad = fresh.index == 1
    rim = pad & ~cv2.erode(pad.astype(np.uint8), np.ones((9, 9), np.uint8)).astype(bool)
    gain = (dried.mix - fresh.mix)[rim].mean() - (dried.mix - fresh.mix)[pad & ~rim].mean()
    assert gain > 0.2
