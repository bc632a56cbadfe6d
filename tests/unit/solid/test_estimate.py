"""Pale share by unmixing, descriptions, series; a rendered heap from photo to reading."""

from dataclasses import replace

import numpy as np
import pytest

from stripread.correction.fit import fix_colour
from stripread.solid.descriptions import fitting, precipitates
from stripread.solid.estimate import SolidSample, _mirrors, estimate_solid
from stripread.solid.levels import dark_level, pale_level
from stripread.solid.read import read_solid
from stripread.solid.series import settled
from stripread.solid.share import FALSE_PALE, integral_range, mixed_doubt, scatter, share_interval
from tests.scenes import Scene, render
from tests.scenes.solid import Solid, grains, true_share, with_solid
from tests.tint_cases import another_heap, one_heap
from tests.unit.correction.test_fit import KNOWN, photo

PPM = 6.0


@pytest.mark.parametrize(
    ("lab", "word"),
    [
        # lightness and hue as the books' words have them (data/precipitates.csv names each source); regions are ours
        ((20, 3, 5), "fits silver oxide"),
        ((88, 0, 2), "fits silver chloride"),
        ((80, -6, -15), "fits copper hydroxide"),
        ((45, 35, 25), "fits copper(I) oxide"),
        ((78, -18, -2), "fits basic copper chloride"),
    ],
)
def test_descriptions(lab, word):
    found = fitting(np.array(lab, dtype=float), np.ones(3))
    assert any(word in text for text in found)


def test_dark_is_never_described_as_chloride_and_the_table_is_whole():
    assert not any("chloride" in text for text in fitting(np.array([18.0, 2, 4]), np.ones(3)))
    assert len(precipitates()) == 21
    for solid in precipitates():
        assert solid.lightness[0] < solid.lightness[1]
        assert solid.chroma[0] < solid.chroma[1]


def sample_of(share, dark=0.06, bright=0.75, rough=0.15, seed=0):
    rng = np.random.default_rng(seed)
    level = dark * np.exp(rng.normal(0, rough, share.shape)) * (1 - share) + bright * share
    light = np.repeat(level[..., None], 3, axis=2).astype(np.float32)
    mask = np.ones(share.shape, dtype=bool)
    return SolidSample(light, mask, np.full(3, 0.4), share.size / PPM**2, 0.0, (46.0, 67.0), PPM, (0, 0))


def test_levels_of_dark_and_pale():
    share = grains(Solid(0.2, 0.5, seed=3), (120, 120), PPM).astype(float)
    sample = sample_of(share)
    dark, texture, has_dark = dark_level(sample.light.mean(axis=2)[sample.mask].astype(float))
    assert has_dark
    assert dark == pytest.approx(0.06, rel=0.06)  # the histogram's bins are 7 % wide
    assert texture == pytest.approx(0.15, rel=0.08)  # of what lies below a mode that is off by half a bin
    assert pale_level(sample.light.mean(axis=2), sample.mask, PPM, dark)[0] == pytest.approx(0.75, rel=0.03)


def test_scatter_is_wider_for_coarser_grains():
    found = []
    for size in (0.15, 0.5, 1.5):
        share = grains(Solid(0.2, size, seed=5), (120, 120), PPM).astype(np.float32)
        found.append(scatter(share, share >= 0, PPM))
    assert found == sorted(found)


def test_scatter_is_what_heaps_of_one_batch_differ_by():
    # Boolean model: the means of many heaps of the same material have the variance that one heap alone tells
    heaps = [grains(Solid(0.2, 0.4, seed=n), (120, 120), PPM).astype(np.float32) for n in range(40)]
    told = np.mean([scatter(share, share >= 0, PPM) for share in heaps])
    seen = np.var([share.mean() for share in heaps], ddof=1)
    assert 0.6 < told / seen < 1.7


@pytest.mark.parametrize(
    ("pale", "size", "most"), [(0.04, 0.8, 3.2), (0.2, 0.8, 1.9), (0.2, 0.3, 1.9), (0.7, 0.6, 1.9)]
)
def test_the_integral_range_is_what_heaps_of_coarse_grains_differ_by(pale, size, most):
    """60 heaps each: the standard error of their variance is 18 %; three of them, and what few grains add."""
    heaps = [grains(Solid(pale, size, seed=n), (110, 110), PPM).astype(np.float32) for n in range(60)]
    told = np.mean([integral_range(share, share >= 0, PPM) for share in heaps])
    seen = np.var([share.mean() for share in heaps], ddof=1)
    assert 0.65 < told / seen < most


def test_the_integral_range_of_one_grain_is_its_own_size_squared():
    share = np.zeros((120, 120), np.float32)
    share[50:62, 50:62] = 1.0  # 4 mm2 of 400
    told = integral_range(share, share >= 0, PPM)
    assert told == pytest.approx(3.0 * (4.0 / 400.0) ** 2, rel=0.2)  # one grain tells little of grains: three times
    assert integral_range(np.zeros_like(share), share >= 0, PPM) == 0.0


def test_what_is_left_out_as_shine_may_be_grains():
    share = grains(Solid(0.05, 0.5, seed=3), (120, 120), PPM).astype(float)
    sample = sample_of(share)
    shine = np.zeros(share.shape, dtype=bool)
    shine[40:80, 40:80] = True
    sample = replace(sample, mask=~shine, mirrors=shine)
    fix = fix_colour(photo(1), KNOWN)
    told = estimate_solid(sample, fix)
    without = estimate_solid(replace(sample, mirrors=None), fix)
    held = share[shine].mean() * shine.mean()
    assert told.interval[0] < without.interval[0]
    assert told.interval[1] == pytest.approx(without.interval[1] * (1 - shine.mean()) + held, abs=0.004)


def test_many_places_brighter_than_any_grain_are_grains():
    light = np.full((60, 60, 3), 0.06, np.float32)
    for n in range(20):
        light[5 + 10 * (n // 5), 5 + 10 * (n % 5)] = 1.7
    inside = np.ones((60, 60), dtype=bool)
    assert not _mirrors(light, np.zeros_like(inside), inside).any()
    light[20:] = 0.06  # ten are left, on both sides of the limit of eight
    assert not _mirrors(light, np.zeros_like(inside), inside).any()
    light[10:] = 0.06
    assert _mirrors(light, np.zeros_like(inside), inside).sum() == 5


def test_interval_of_a_share():
    assert share_interval(0.0, 0.0) == (0.0, pytest.approx(1.96 * FALSE_PALE, rel=0.001))
    assert share_interval(0.5, 0.02) == pytest.approx((0.4608, 0.5392), abs=1e-4)
    # many grains: the gamma distribution is near the normal one; few: skewed upward and never below nothing
    assert share_interval(0.2, 0.01) == pytest.approx((0.181, 0.220), abs=1e-3)
    low, high = share_interval(0.02, 0.015)
    assert 0.0 < low < 0.02 - low < high - 0.02
    assert share_interval(0.999, 0.02)[1] == 1.0


def test_pure_grains_are_known_whatever_the_pale_level_is():
    pure, specks = np.array([0.0, 1.0, 1.0, 0.0], np.float32), np.full(4, 0.5, np.float32)
    edges = np.array([0.0, 1.0, 1.0, 0.5], np.float32)
    assert mixed_doubt(pure, 0.1) == 0.0
    assert mixed_doubt(specks, 0.1) == pytest.approx(0.5 * np.hypot(0.1, 0.36))
    assert mixed_doubt(edges, 0.1) == pytest.approx(0.125 * np.hypot(0.1, 0.05 + 0.31 * 0.2))


def test_series_stops_when_level_and_not_before():
    falling = [(p, (0.8 * p, 1.2 * p)) for p in (0.3, 0.15, 0.07, 0.03)]
    assert settled(falling).stopped is False
    level = [*falling, (0.010, (0.007, 0.014)), (0.0105, (0.007, 0.014)), (0.0098, (0.007, 0.014))]
    verdict = settled(level)
    assert verdict.stopped is True
    assert verdict.since == 4
    assert settled(level[:2]).stopped is None
    assert settled([*level, (None, None)]).stopped is True  # a refused photo says nothing


SCENE = Scene(printer_seed=3, phone_seed=5, level=0.7, fill=0.9, distance_mm=300)


@pytest.mark.parametrize(("pale", "grain"), [(0.0, 0.3), (0.05, 0.25), (0.4, 0.4)])
def test_a_rendered_heap(pale, grain):
    solid = Solid(pale, grain, seed=11)
    reading = read_solid(render(with_solid(SCENE, solid)).data)
    assert reading.status != "refused"
    truth = true_share(solid)
    assert reading.pale_fraction == pytest.approx(truth, abs=0.01 if truth < 0.1 else 0.05)
    assert reading.pale_interval[0] <= truth <= reading.pale_interval[1]
    if pale == 0.0:
        assert reading.pale_fraction < 0.002
        assert any("silver oxide" in text for text in reading.descriptions)
    if pale == 0.4:  # the mean of two materials is the colour of neither
        assert not reading.descriptions


@pytest.mark.parametrize("grain", [0.1, 0.7])
def test_a_pale_heap_with_dark_specks_is_read(grain):
    solid = Solid(0.9, grain, bright=0.8, radius_mm=9.5, seed=12)
    reading = read_solid(render(with_solid(SCENE, solid)).data)
    assert reading.status != "refused"
    assert reading.pale_fraction == pytest.approx(true_share(solid), abs=0.08)
    assert reading.pale_interval[0] <= true_share(solid) <= reading.pale_interval[1]


def test_nothing_there_is_refused():
    reading = read_solid(render(SCENE).data)
    assert reading.status == "refused"
    assert [r.code for r in reading.reasons] == ["no_solid"]
    assert reading.to_dict()["pale_fraction"] is None


def test_region_in_millimetres():
    solid = Solid(0.1, 0.3, seed=2)
    data = render(with_solid(replace(SCENE, shot_seed=4), solid)).data
    reading = read_solid(data, region_mm=(42.0, 63.0, 8.0, 8.0))
    assert reading.region_mm == (42.0, 63.0, 8.0, 8.0)
    assert 0.02 < reading.pale_fraction < 0.25


def test_the_blur_of_a_mirror_image_is_no_grain():
    scene, solid = one_heap(295)
    assert (solid.pale, solid.glints) == (0.0, 4)
    assert read_solid(render(with_solid(scene, solid)).data).pale_fraction < 0.002


def test_grains_whiter_than_the_paper_are_no_mirror_images():
    scene, solid = one_heap(321)
    reading = read_solid(render(with_solid(scene, solid)).data)
    assert reading.pale_fraction == pytest.approx(true_share(solid), abs=0.03)
    assert reading.pale_interval[0] <= true_share(solid) <= reading.pale_interval[1]


def test_a_dark_lighter_than_oxide_may_hold_pale_grains_too_fine_to_see():
    solid = Solid(0.0, dark=0.2, rough=0.05, seed=3)
    reading = read_solid(render(with_solid(SCENE, solid)).data)
    assert "dark_is_light" in {r.code for r in reading.reasons}
    assert reading.pale_interval[0] < 0.002
    assert reading.pale_interval[1] > 0.1


@pytest.mark.parametrize("number", [3, 9, 13])
def test_heaps_of_other_habits(number):
    scene, solid = another_heap(number)
    reading = read_solid(render(with_solid(scene, solid)).data)
    assert reading.pale_fraction == pytest.approx(true_share(solid), abs=0.03)


@pytest.mark.parametrize("number", [580, 539])
def test_lumps_at_the_edge_may_be_solid_or_bare_ground(number):
    scene, solid = another_heap(number)
    reading = read_solid(render(with_solid(scene, solid)).data)
    assert "edge_like_paper" in {r.code for r in reading.reasons}
    assert reading.pale_interval[0] <= true_share(solid) <= reading.pale_interval[1]


def test_a_dark_brown_is_not_brick_red():
    found = fitting(np.array([23.0, 3.0, 8.0]), np.array([2.0, 4.0, 5.0]))
    assert any("silver oxide" in text for text in found)
    assert not any("chromate" in text for text in found)
