"""The strip and its pads are found from the picture, on drawn cards with known places."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from stripread.card.layout import LANE_MM, layout
from stripread.errors import Refused
from stripread.kind import Pad, StripKind
from stripread.strip.find import find_in_lane, find_strips
from stripread.strip.fit import Frame
from stripread.strip.lane import lane_map
from stripread.strip.one_strip import FoundStrip
from stripread.strip.order import _features
from stripread.strip.search import search
from tests.unit.strip.lane_pictures import Drawn, DrawnView, draw

FOUR = StripKind("four", 6.0, 75.0, tuple(Pad(o, 6.0) for o in (2.0, 9.0, 16.0, 23.0)), (0.0, 14.0))
ONE = StripKind("one", 6.0, 60.0, (Pad(2.0, 6.0),), (0.0, 14.0))
NARROW = StripKind("narrow", 5.0, 60.0, (Pad(1.0, 8.0),), (0.0, 14.0))
ROLL = StripKind("roll", 7.0, 40.0, (Pad(0.0, 40.0),), (1.0, 14.0))
RED, GREEN, BLUE, YELLOW = (0.5, 0.12, 0.1), (0.15, 0.4, 0.15), (0.1, 0.15, 0.4), (0.7, 0.6, 0.15)
BARE = (0.86, 0.87, 0.87)  # the carrier's own
PALE = (0.82, 0.83, 0.79)
PLACED_MM = 0.5  # what the inner margin of a pad leaves room for


def lying(
    kind: StripKind, pads: list, angle_deg: float = 0.0, middle: tuple[float, float] = (74.0, 37.0), **more
) -> Drawn:
    """A strip with its middle at ``middle``."""
    turn = np.radians(angle_deg)
    end = np.array(middle) - (more.get("length_mm") or kind.length_mm) / 2 * np.array([np.cos(turn), np.sin(turn)])
    return Drawn(tuple(end), angle_deg, pads, **more)


def misplaced(found: FoundStrip, drawn: Drawn, kind: StripKind) -> float:
    """How far the worst pad's middle is off (mm)."""
    middles = np.array([p.quad_mm.mean(axis=0) for p in found.pads])
    return float(np.hypot(*(middles - drawn.centres(kind)).T).max())


def refusal(view: DrawnView, kind: StripKind) -> str:
    with pytest.raises(Refused) as caught:
        find_strips(view, kind)
    return caught.value.reason.code


@pytest.mark.parametrize("angle_deg", [-15.0, -6.0, 0.0, 9.0, 15.0])
@pytest.mark.parametrize("turned", [False, True])
def test_pads_are_found_turned_and_either_way_round(angle_deg: float, turned: bool) -> None:
    drawn = lying(FOUR, [RED, GREEN, BLUE, YELLOW], angle_deg + 180.0 * turned)
    (found,) = find_strips(draw(FOUR, [drawn], ppm=4.0), FOUR)
    assert misplaced(found, drawn, FOUR) < PLACED_MM
    assert found.end == ("right" if turned else "left")
    way = found.outline_mm[1] - found.outline_mm[0]  # from the dipped end to the other, clockwise as seen
    assert abs((np.degrees(np.arctan2(way[1], way[0])) - drawn.angle_deg + 180) % 360 - 180) < 1.0


@pytest.mark.parametrize("ppm", [2.0, 3.0, 5.0, 8.0])
def test_pads_are_found_at_every_resolution(ppm: float) -> None:
    drawn = lying(FOUR, [YELLOW, GREEN, RED, BLUE], 5.0, (70.0, 35.0), shifts=[0.3, -0.4, 0.2, -0.2])
    (found,) = find_strips(draw(FOUR, [drawn], ppm=ppm), FOUR)
    assert misplaced(found, drawn, FOUR) < PLACED_MM


@pytest.mark.parametrize("pale", [0, 1, 3])
def test_a_pad_like_its_carrier_is_placed_by_the_others(pale: int) -> None:
    colours = [RED, GREEN, BLUE, YELLOW]
    colours[pale] = PALE
    drawn = lying(FOUR, colours, -4.0)
    (found,) = find_strips(draw(FOUR, [drawn]), FOUR)
    assert misplaced(found, drawn, FOUR) < PLACED_MM


@pytest.mark.parametrize("middle", [(74.0, 37.0), (50.0, 30.0), (96.0, 44.0)])
def test_one_pad_is_found_anywhere_in_the_lane(middle: tuple[float, float]) -> None:
    drawn = lying(ONE, [GREEN], 7.0, middle)
    (found,) = find_strips(draw(ONE, [drawn]), ONE)
    assert misplaced(found, drawn, ONE) < PLACED_MM
    assert found.end == "left"


@pytest.mark.parametrize(("length_mm", "width_mm"), [(28.0, 6.0), (40.0, 7.0), (52.0, 8.0)])
def test_roll_paper_is_found_whatever_the_piece_measures(length_mm: float, width_mm: float) -> None:
    drawn = lying(ROLL, [YELLOW], -8.0, length_mm=length_mm, width_mm=width_mm)
    (found,) = find_strips(draw(ROLL, [drawn]), ROLL)
    sides = (
        np.hypot(*(found.outline_mm[1] - found.outline_mm[0])),
        np.hypot(*(found.outline_mm[3] - found.outline_mm[0])),
    )
    assert sides[0] == pytest.approx(length_mm, abs=0.3)
    assert sides[1] == pytest.approx(width_mm, abs=0.3)
    assert np.hypot(*(found.outline_mm.mean(axis=0) - (74.0, 37.0))) < PLACED_MM


def test_the_mask_holds_only_the_pad() -> None:
    drawn = lying(FOUR, [RED, GREEN, BLUE, YELLOW], 11.0)
    view = draw(FOUR, [drawn], noise=0.0, cast=(1.0, 1.0, 1.0), slope=(0.0, 0.0))
    (found,) = find_strips(view, FOUR)
    for pad, colour in zip(found.pads, drawn.pads, strict=True):
        y0, x0 = pad.origin
        pixels = view.rgb[y0 : y0 + pad.mask.shape[0], x0 : x0 + pad.mask.shape[1]][pad.mask]
        expected = (0.75 * np.array(colour)) ** (1 / 2.2) * 255
        assert np.abs(pixels.astype(float) - expected).max() < 4.0
        assert pad.mask.sum() > 0.4 * 36.0 * view.px_per_mm**2


def test_paper_beside_a_pad_is_that_of_the_place() -> None:
    view = draw(FOUR, [lying(FOUR, [RED, GREEN, BLUE, YELLOW])], slope=(0.3, 0.0), noise=0.0)
    (found,) = find_strips(view, FOUR)
    for pad in found.pads:
        x, y = pad.quad_mm.mean(axis=0) + np.array([0.0, 6.0])
        column, row = np.rint(view.mm_to_view(np.array([[x, y]]))[0]).astype(int)
        np.testing.assert_allclose(pad.paper_rgb, view.rgb[row, column] / 255.0, atol=0.012)


def test_two_strips_are_both_found() -> None:
    one = lying(FOUR, [RED, GREEN, BLUE, YELLOW], 1.0, (72.0, 31.0))
    two = lying(FOUR, [YELLOW, RED, GREEN, BLUE], -1.0, (76.0, 43.0))
    found = find_strips(draw(FOUR, [one, two]), FOUR)
    assert len(found) == 2
    upper, lower = sorted(found, key=lambda s: s.outline_mm[:, 1].mean())
    assert misplaced(upper, one, FOUR) < PLACED_MM
    assert misplaced(lower, two, FOUR) < PLACED_MM


@pytest.mark.parametrize("colour", [RED, GREEN, BLUE])
def test_two_like_strips_are_both_found_and_not_the_paper_between_them(colour: tuple[float, float, float]) -> None:
    one = lying(NARROW, [colour], 1.0, (80.0, 31.5))
    two = lying(NARROW, [colour], -0.5, (80.5, 42.5))
    view = draw(NARROW, [one, two])
    best = search(lane_map(view, layout()), NARROW)
    assert min(abs(best.y - 31.5), abs(best.y - 42.5)) < PLACED_MM
    found = find_strips(view, NARROW)
    assert len(found) == 2
    upper, lower = sorted(found, key=lambda s: s.outline_mm[:, 1].mean())
    assert misplaced(upper, one, NARROW) < PLACED_MM
    assert misplaced(lower, two, NARROW) < PLACED_MM


def test_three_strips_are_found_from_the_top_edge_down() -> None:
    three = [
        lying(FOUR, [RED, GREEN, BLUE, YELLOW], 0.5, (80.0, 29.0)),
        lying(FOUR, [YELLOW, RED, GREEN, BLUE], -0.4, (70.0, 37.0)),
        lying(FOUR, [BLUE, YELLOW, RED, GREEN], 0.3, (76.0, 45.0)),
    ]
    found = find_strips(draw(FOUR, three), FOUR)
    assert [misplaced(f, t, FOUR) < PLACED_MM for f, t in zip(found, three, strict=True)] == [True] * 3


def test_an_axis_that_is_a_little_off_gives_the_edges_no_shade() -> None:
    """What one long edge gains of the strip, the other loses: their mean stays, and no pads are slipped for it."""
    t, s = np.linspace(-4.0, 4.0, 81), np.arange(-10.0, 90.0, 0.2)
    ratio = np.zeros((len(t), len(s), 3), np.float32)
    for side in (-1, 1):
        ratio[np.abs(t - side * FOUR.width_mm / 2) < 0.39] = side * np.linspace(0.0, 0.3, len(s))[:, None]
    frame = Frame(ratio, np.ones(len(s)), s, t, np.zeros((2, len(s), 3), np.float32), ratio, 0.0)
    assert np.abs(_features(frame, FOUR)[0]).max() < 0.01


def test_the_words_above_the_lane_are_no_shadow_beside_the_pads() -> None:
    drawn = lying(FOUR, [RED, GREEN, BLUE, YELLOW], 0.0, (62.0, 29.0))
    (found,) = find_strips(draw(FOUR, [drawn], blur_mm=0.5, words=True), FOUR)
    assert [reason.code for reason in found.reasons] == []


def test_a_strip_whose_neighbours_hide_its_carrier_is_looked_for_again() -> None:
    three = [
        lying(NARROW, [RED], 5.2, (76.0, 29.4)),
        lying(NARROW, [GREEN], 7.2, (73.0, 37.0)),
        lying(NARROW, [BLUE], 5.0, (78.0, 44.6)),
    ]
    found = find_strips(draw(NARROW, three), NARROW)
    assert [misplaced(f, t, NARROW) < PLACED_MM for f, t in zip(found, three, strict=True)] == [True] * 3


@pytest.mark.parametrize("cut_mm", [12.0, 24.0])
@pytest.mark.parametrize("at_mm", [60.0, 82.0])
def test_a_strip_cut_short_is_neither_turned_nor_slipped(cut_mm: float, at_mm: float) -> None:
    drawn = lying(FOUR, [RED, GREEN, BLUE, YELLOW], 1.0, (at_mm, 37.0), length_mm=75.0 - cut_mm)
    (found,) = find_strips(draw(FOUR, [drawn]), FOUR)
    assert misplaced(found, drawn, FOUR) < PLACED_MM


@pytest.mark.parametrize("apart_mm", [2.0, 2.6])
def test_a_strip_over_another_is_not_read_as_one(apart_mm: float) -> None:
    under = lying(FOUR, [YELLOW, RED, GREEN, BLUE], 0.0, (74.0, 37.0 - apart_mm))
    over = lying(FOUR, [RED, GREEN, BLUE, YELLOW], 0.0, (74.0, 37.0))
    assert refusal(draw(FOUR, [under, over]), FOUR) == "strips_touch"


def test_what_looks_like_a_strip_beside_and_is_none_is_told() -> None:
    strip = lying(FOUR, [RED, GREEN, BLUE, YELLOW], 0.0, (74.0, 31.0))
    other = lying(FOUR, [GREEN, BARE, BARE, BARE], 0.0, (74.0, 44.0))
    lane = find_in_lane(draw(FOUR, [strip, other]), FOUR)
    assert len(lane.strips) == 1
    assert lane.foreign is not None
    assert lane.foreign.y_mm == pytest.approx(44.0, abs=1.0)


@pytest.mark.parametrize("kind", [FOUR, ONE, ROLL], ids=lambda k: k.name)
@pytest.mark.parametrize("noise", [0.004, 0.03])
def test_an_empty_lane_has_no_strip(kind: StripKind, noise: float) -> None:
    assert refusal(draw(kind, [], noise=noise, slope=(0.3, 0.2)), kind) == "no_strip"


def test_a_blank_card_in_the_lane_is_no_strip() -> None:
    view = draw(FOUR, [])
    low, high = np.rint(view.mm_to_view(np.array([[40.0, 28.0], [70.0, 46.0]]))).astype(int)
    view.rgb[low[1] : high[1], low[0] : high[0]] = (60, 90, 150)
    assert refusal(view, FOUR) in {"no_strip", "wrong_kind"}


@pytest.mark.parametrize(
    ("seen", "pads", "asked"),
    [
        (ONE, [RED], FOUR),
        (FOUR, [RED, GREEN, BLUE, YELLOW], ONE),
        (FOUR, [RED, GREEN, BLUE, YELLOW], ROLL),
        (ONE, [GREEN], ROLL),
        (
            StripKind("sparse", 6.0, 75.0, (Pad(2.0, 6.0), Pad(14.0, 6.0), Pad(26.0, 6.0)), (0.0, 14.0)),
            [RED, GREEN, BLUE],
            FOUR,
        ),
    ],
    ids=["one for four", "four for one", "four for roll", "one for roll", "three for four"],
)
def test_another_kind_is_refused(seen: StripKind, pads: list, asked: StripKind) -> None:
    assert refusal(draw(seen, [lying(seen, pads, 3.0)]), asked) == "wrong_kind"


@pytest.mark.parametrize("direction_deg", [0.0, 40.0, 180.0])
def test_a_shadow_edge_over_the_pads_is_refused(direction_deg: float) -> None:
    drawn = lying(FOUR, [RED, GREEN, BLUE, YELLOW])
    middle = float(drawn.centres(FOUR)[:, 0].mean())
    assert refusal(draw(FOUR, [drawn], shadow=(middle, direction_deg, 0.5)), FOUR) == "shadow_on_pads"


def test_a_shadow_edge_far_from_the_pads_does_not_matter() -> None:
    drawn = lying(FOUR, [RED, GREEN, BLUE, YELLOW])
    (found,) = find_strips(draw(FOUR, [drawn], shadow=(105.0, 0.0, 0.5)), FOUR)
    assert misplaced(found, drawn, FOUR) < PLACED_MM
    assert not any(p.shadow for p in found.pads)


def test_a_light_gradient_is_no_shadow() -> None:
    (found,) = find_strips(draw(FOUR, [lying(FOUR, [RED, GREEN, BLUE, YELLOW])], slope=(0.4, 0.2)), FOUR)
    assert found.reasons == ()


@pytest.mark.parametrize(("radius_mm", "doubted"), [(1.1, False), (1.6, True)])
def test_a_shine_is_left_out_and_doubted_where_it_takes_half_a_pad(radius_mm: float, doubted: bool) -> None:
    drawn = lying(FOUR, [RED, GREEN, BLUE, YELLOW])
    x, y = drawn.centres(FOUR)[2]
    view = draw(FOUR, [drawn], glare=(x + 0.5, y, radius_mm, 0.5), noise=0.004)
    (found,) = find_strips(view, FOUR)
    pad = found.pads[2]
    assert (0.5 if doubted else 0.1) < pad.glare < (0.7 if doubted else 0.5)
    assert ("some_glare" in {r.code for r in found.reasons}) == doubted
    assert max(p.glare for n, p in enumerate(found.pads) if n != 2) < 0.05
    y0, x0 = pad.origin
    left = view.rgb[y0 : y0 + pad.mask.shape[0], x0 : x0 + pad.mask.shape[1]][pad.mask]
    expected = (0.75 * np.array(BLUE) * (1.0, 0.95, 0.85)) ** (1 / 2.2) * 255
    assert np.abs(left.mean(axis=0) - expected).max() < 9.0


def test_a_shine_over_a_whole_pad_is_refused() -> None:
    drawn = lying(FOUR, [RED, GREEN, BLUE, YELLOW])
    x, y = drawn.centres(FOUR)[1]
    assert refusal(draw(FOUR, [drawn], glare=(x, y, 3.4, 0.9)), FOUR) == "glare_on_pads"


def test_a_drying_edge_is_left_out() -> None:
    drawn = lying(FOUR, [RED, GREEN, BLUE, GREEN])
    view = draw(FOUR, [drawn], dry_edge=0.3, noise=0.006)
    (found,) = find_strips(view, FOUR)
    for pad, colour in zip(found.pads, drawn.pads, strict=True):
        assert pad.uneven + pad.glare > 0.05
        y0, x0 = pad.origin
        pixels = view.rgb[y0 : y0 + pad.mask.shape[0], x0 : x0 + pad.mask.shape[1]][pad.mask]
        light = 0.75 * np.array([1.0, 0.95, 0.85])
        expected = (light * np.array(colour)) ** (1 / 2.2) * 255
        assert np.abs(np.median(pixels, axis=0) - expected).max() < 12.0


def test_a_strip_that_hangs_over_the_patches_is_found() -> None:
    drawn = lying(FOUR, [RED, GREEN, BLUE, YELLOW], 2.0, (LANE_MM[0] + 75.0 / 2 - 3.0, 37.0))
    (found,) = find_strips(draw(FOUR, [drawn]), FOUR)
    assert misplaced(found, drawn, FOUR) < PLACED_MM


def test_the_outline_of_the_lane_is_no_strip_edge() -> None:
    """A strip laid across the printed line is placed no worse than one beside it."""
    drawn = lying(FOUR, [RED, GREEN, BLUE, YELLOW], 0.5, (74.0, LANE_MM[1] + 1.0))
    (found,) = find_strips(draw(FOUR, [drawn]), FOUR)
    assert misplaced(found, drawn, FOUR) < PLACED_MM


def test_the_same_card_brighter_or_tinted_gives_the_same_place() -> None:
    drawn = lying(FOUR, [RED, GREEN, BLUE, YELLOW], -7.0)
    places = []
    for cast in ((1.0, 1.0, 1.0), (1.0, 0.8, 0.5), (0.4, 0.4, 0.4)):
        (found,) = find_strips(draw(FOUR, [drawn], cast=cast, noise=0.004), FOUR)
        places.append(np.array([p.quad_mm for p in found.pads]))
    for other in places[1:]:
        assert np.abs(other - places[0]).max() < 0.3


def test_a_view_that_ends_early_is_read_where_it_can_be() -> None:
    view = draw(FOUR, [lying(FOUR, [RED, GREEN, BLUE, YELLOW])])
    dark = np.zeros_like(view.rgb)
    edge = int(view.mm_to_view(np.array([[118.0, 0.0]]))[0, 0])
    view.inside[:, edge:] = False
    view = replace(view, rgb=np.where(view.inside[:, :, None], view.rgb, cv2.blur(dark, (3, 3))))
    (found,) = find_strips(view, FOUR)
    assert len(found.pads) == 4


@pytest.mark.parametrize("turned", [False, True])
def test_words_printed_above_the_lane_are_no_shadow(turned: bool) -> None:
    x, y, w, _ = LANE_MM
    length = FOUR.length_mm
    middle = (x + w - 2.0 - length / 2 if turned else x + 2.0 + length / 2, y + 4.0)  # pads just below the words
    drawn = lying(FOUR, [RED, GREEN, BLUE, YELLOW], 180.0 * turned, middle)
    (found,) = find_strips(draw(FOUR, [drawn], words=True), FOUR)
    assert not found.reasons
    assert misplaced(found, drawn, FOUR) < PLACED_MM
