"""The card: its geometry, what a printer gets of it, and whether its colours were worth computing."""

import itertools

import cv2
import numpy as np
import pypdfium2
import pytest

from stripread.card import layout as card
from stripread.card.pdf import PAPERS, draw_sheet, marker_cells, scale_bar_mm

DPI = 300
PX = DPI / 25.4
CLEAR_MM = 2.3  # white around a marker: the detector wants about one cell (2.5 mm)


@pytest.fixture(scope="module")
def sheets():
    """Each paper's page at 300 dpi, RGB."""
    pages = {}
    for name in PAPERS:
        document = pypdfium2.PdfDocument(draw_sheet(name))
        assert len(document) == 1
        pages[name] = document[0].render(scale=DPI / 72, rev_byteorder=True).to_numpy()[..., :3].copy()
        document.close()
    return pages


def _meet(one, other, gap=0.0):
    """Whether two rectangles (x, y, w, h) come closer than ``gap``."""
    return (
        one[0] < other[0] + other[2] + gap
        and other[0] < one[0] + one[2] + gap
        and one[1] < other[1] + other[3] + gap
        and other[1] < one[1] + one[3] + gap
    )


def _marker_rects():
    return [(*m.corners_mm[0], card.MARKER_MM, card.MARKER_MM) for m in card.layout().markers]


def test_card_fits_and_its_parts_lie_inside():
    layout = card.layout()
    width, height = layout.size_mm
    assert width <= 148
    assert height <= 105
    windows = [
        (x - w.radius_mm, y - w.radius_mm, 2 * w.radius_mm, 2 * w.radius_mm)
        for w in layout.windows.values()
        for x, y in [w.centre_mm]
    ]
    for x, y, w, h in [*(p.rect_mm for p in layout.patches), *_marker_rects(), layout.lane_mm, *windows]:
        assert x >= 2
        assert y >= 2
        assert x + w <= width - 2
        assert y + h <= height - 2


def test_nothing_overlaps():
    layout = card.layout()
    patches = [p.rect_mm for p in layout.patches]
    for one, other in itertools.combinations(patches, 2):
        assert not _meet(one, other, 0.9)
    for rect in patches:
        assert not _meet(rect, layout.lane_mm, 1.0)
        assert not any(_meet(rect, marker, CLEAR_MM) for marker in _marker_rects())
        for window in layout.windows.values():
            near = np.clip(window.centre_mm, rect[:2], np.add(rect[:2], rect[2:]))
            assert np.hypot(*(near - window.centre_mm)) > window.radius_mm + 1.0
    for marker in _marker_rects():
        assert not _meet(marker, layout.lane_mm, CLEAR_MM)
    for window in layout.windows.values():
        assert window.centre_mm[1] - window.radius_mm > layout.lane_mm[1] + layout.lane_mm[3] + 1


def test_ids_are_unique_and_roles_are_all_there():
    layout = card.layout()
    assert len({p.id for p in layout.patches}) == len(layout.patches) == 74
    assert len({m.id for m in layout.markers}) == len(layout.markers)
    for role, count in (("grey", 24), ("white", 14), ("colour", 36)):
        assert sum(p.role == role for p in layout.patches) == count
    np.testing.assert_allclose(layout.nominal_srgb().max(), 1.0)


def test_ramp_is_even_in_lightness():
    """CIE 15 lightness through the IEC 61966-2-1 curve; a level is rounded to 8 bit, up to 0.4 L* in the dark."""
    from stripread.colour import rgb_to_lab, srgb_decode

    grey = np.repeat(np.array(card.GREYS)[:, None], 3, axis=1)
    steps = np.diff(rgb_to_lab(srgb_decode(grey / 255.0))[:, 0])
    assert steps.min() > 8.3
    assert steps.max() < 9.1


def test_whites_and_both_ramps_span_the_card():
    layout = card.layout()
    for role in ("white", "grey"):
        at = np.array([p.rect_mm[:2] for p in layout.patches if p.role == role])
        assert np.ptp(at, axis=0)[0] > 0.8 * layout.size_mm[0]
        assert np.ptp(at, axis=0)[1] > 0.65 * layout.size_mm[1]
    # the same step of the two copies lies at opposite ends: light from one side can't pass for a tone curve
    middle = np.array([layout.size_mm[0] / 2, layout.size_mm[1] / 2])
    ramps = {p.id: np.array(p.rect_mm[:2]) + card.PATCH_MM / 2 for p in layout.patches if p.role == "grey"}
    for n in range(len(card.GREYS)):
        np.testing.assert_allclose((ramps[f"a{n:02d}"] + ramps[f"b{n:02d}"]) / 2, middle, atol=2.0)


@pytest.mark.parametrize("paper", sorted(PAPERS))
def test_markers_are_found_where_the_layout_says(sheets, paper):
    grey = cv2.cvtColor(sheets[paper], cv2.COLOR_RGB2GRAY)
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, card.DICTIONARY))
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary, parameters).detectMarkers(grey)
    assert sorted(ids.ravel()) == sorted(2 * [m.id for m in card.layout().markers])
    # OpenCV puts the centre of the first pixel at 0; a length on paper starts at that pixel's edge.
    found = [(int(i), (c.reshape(4, 2) + 0.5) / PX) for i, c in zip(ids.ravel(), corners, strict=True)]
    for origin in PAPERS[paper].origins_mm:
        for marker in card.layout().markers:
            wanted = np.array(marker.corners_mm) + origin
            assert min(np.abs(c - wanted).max() for i, c in found if i == marker.id) < 0.1


@pytest.mark.parametrize("paper", sorted(PAPERS))
def test_patches_have_the_colours_of_the_layout(sheets, paper):
    for ox, oy in PAPERS[paper].origins_mm:
        for patch in card.layout().patches:
            x, y, w, h = patch.rect_mm
            inner = sheets[paper][
                round((oy + y + 0.3) * PX) : round((oy + y + h - 0.3) * PX),
                round((ox + x + 0.3) * PX) : round((ox + x + w - 0.3) * PX),
            ]
            assert np.abs(inner.astype(int) - patch.srgb).max() <= 2, patch.id


@pytest.mark.parametrize("paper", sorted(PAPERS))
def test_lane_and_marker_surrounds_are_bare_paper(sheets, paper):
    page = sheets[paper]
    for ox, oy in PAPERS[paper].origins_mm:
        x, y, w, h = card.LANE_MM
        lane = page[round((oy + y + 0.3) * PX) : round((oy + y + h - 0.3) * PX)]
        assert lane[:, round((ox + x + 0.3) * PX) : round((ox + x + w - 0.3) * PX)].min() == 255
        for marker in card.layout().markers:
            mx, my = np.add(marker.corners_mm[0], (ox, oy))
            low, high = -CLEAR_MM, card.MARKER_MM + CLEAR_MM
            rows, columns = (slice(round((at + low) * PX), round((at + high) * PX)) for at in (my, mx))
            block = page[rows, columns]
            inside = block.copy()
            start, stop = round((CLEAR_MM - 0.15) * PX), round((CLEAR_MM + card.MARKER_MM + 0.15) * PX)
            inside[start:stop, start:stop] = 255
            assert inside.min() == 255, marker.id


@pytest.mark.parametrize("paper", sorted(PAPERS))
def test_scale_bar_is_100_mm(sheets, paper):
    page = PAPERS[paper]
    left, right = scale_bar_mm(page)
    assert right - left == pytest.approx(100.0)
    band = sheets[paper][: round((page.origins_mm[0][1] - 5) * PX), :, 1] < 128
    rows = band[:, round((left + 1) * PX) : round((right - 1) * PX)].all(axis=1)
    assert rows.any()
    black = np.flatnonzero(band[np.flatnonzero(rows)[0]])
    assert (black[-1] - black[0] + 1) / PX == pytest.approx(100.0, abs=0.1)


@pytest.mark.parametrize("paper", sorted(PAPERS))
def test_sheet_says_what_matters_within_the_printable_page(paper):
    document = pypdfium2.PdfDocument(draw_sheet(paper))
    page = document[0]
    size = np.array(page.get_size()) * 25.4 / 72
    np.testing.assert_allclose(size, PAPERS[paper].size_mm, atol=0.05)
    text = page.get_textpage()
    words = " ".join(text.get_text_range().split())
    for phrase in (
        "must measure 100 mm",
        "at 100 %",
        "colour",
        "matt",
        "same card",
        "dipped end left",
        "blank",
        "20 to 45 cm",
        "No shadow",
        "explosive on standing",
        "acidify at once",
        "Never store it, never let it dry, never add it to lye",
        "gloves, goggles",
        "hood",
        "Local rules",
    ):
        assert phrase in words, phrase
    boxes = np.array([text.get_rect(i) for i in range(text.count_rects())]) * 25.4 / 72
    assert boxes[:, 0].min() > 6
    assert boxes[:, 2].max() < size[0] - 6
    assert boxes[:, 1].min() > 12.7  # widest foot margin of common inkjets (common practice, no source)
    text.close()
    document.close()


def test_pdf_is_vector_device_rgb_and_always_the_same():
    one, other = draw_sheet("a4"), draw_sheet("a4")
    assert one == other
    document = pypdfium2.PdfDocument(one)
    kinds = {thing.type for thing in document[0].get_objects()}
    document.close()
    assert pypdfium2.raw.FPDF_PAGEOBJ_IMAGE not in kinds
    assert pypdfium2.raw.FPDF_PAGEOBJ_PATH in kinds
    assert b"ICCBased" not in one


def _part(origin, box):
    """Pixels of a box (x, y, w, h) mm on the card whose corner lies at ``origin`` mm on the page."""
    x, y, w, h = (origin[0] + box[0], origin[1] + box[1], *box[2:])
    return np.s_[round(y * PX) : round((y + h) * PX), round(x * PX) : round((x + w) * PX)]


@pytest.mark.parametrize("paper", PAPERS)
def test_all_print_above_the_lane_lies_where_the_reader_takes_it_out(paper, sheets):
    dark = sheets[paper].min(axis=2) < 240
    x, y, w, _ = card.LANE_MM
    for origin in PAPERS[paper].origins_mm:
        for box in card.LANE_PRINT_MM:
            assert dark[_part(origin, box)].any()
            dark[_part(origin, box)] = False
        assert not dark[_part(origin, (x - 1.0, y - 4.0, w + 2.0, 3.6))].any()


def test_marker_cells_are_the_dictionary_s_own():
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, card.DICTIONARY))
    for marker in card.layout().markers:
        image = dictionary.generateImageMarker(marker.id, 60)
        cells = {(round(y / 2.5), round(x / 2.5)) for x, y, _, _ in marker_cells(marker.id)}
        for r, c in itertools.product(range(6), repeat=2):
            assert (image[r * 10 + 5, c * 10 + 5] == 0) == ((r, c) in cells)


def test_grey_print_keeps_the_colours_apart_in_steps():
    """On a printer without colour the 36 colours must not collapse into a few greys."""
    from stripread.colour import rgb_to_lab, srgb_decode

    lightness = np.sort(rgb_to_lab(srgb_decode(np.array(card.COLOURS) / 255.0))[:, 0])
    assert np.ptp(lightness) > 50
    assert max(np.sum(np.abs(lightness - level) < 1.0) for level in lightness) <= 4


def test_neighbouring_colours_differ():
    from stripread.colour import delta_e, rgb_to_lab, srgb_decode

    colours = [p for p in card.layout().patches if p.role == "colour"]
    for one, other in itertools.combinations(colours, 2):
        gap = float(delta_e(*rgb_to_lab(srgb_decode(np.array([one.srgb, other.srgb]) / 255.0))))
        distance = np.hypot(*np.subtract(one.rect_mm[:2], other.rect_mm[:2]))
        assert gap > (20.0 if distance < 12 else 6.0)


def test_colours_beat_a_grid_and_chance():
    """The figures of docs/card-design.md, on made-up printers that the choice has not seen."""
    from tests.design_card import judge, rivals

    score = judge({"card": [np.array(card.COLOURS)], **rivals(np.random.default_rng(5), draws=5)}, seed=7)
    assert score["card"] < 0.95 * score["uniform grid"]
    assert score["card"] < 0.8 * score["random"]


@pytest.mark.thorough
def test_frozen_colours_are_what_the_design_script_chooses():
    """The choice may differ by a colour where the linear algebra library rounds otherwise: its worth may not."""
    from tests.design_card import even_greys, judge, optimal

    assert even_greys() == card.GREYS
    score = judge({"card": [np.array(card.COLOURS)], "chosen now": [optimal()[0]]}, seed=11)
    assert score["card"] == pytest.approx(score["chosen now"], rel=0.02)
