"""Grey silver among oxide and chloride: what it leaves of the pale share, and heaps that are grey or pale all over."""

from dataclasses import replace

import numpy as np
import pytest

from stripread.card.layout import layout
from stripread.correction.fit import fix_colour
from stripread.solid.estimate import estimate_solid
from stripread.solid.grey import all_gaps_silver, grey_grains, grey_part, grey_shares, level_of_silver, perhaps_silver
from stripread.solid.outline import hides_ring
from stripread.solid.read import read_solid
from tests.scenes import Scene, render
from tests.scenes.solid import Solid, grains, spectra, true_share, with_solid
from tests.tint_cases import HEAPS, MIXES, any_heap
from tests.unit.correction.test_fit import KNOWN, photo
from tests.unit.solid.test_estimate import sample_of

PPM = 8.0
SCENE = Scene(printer_seed=3, phone_seed=5, level=0.7, fill=0.9, distance_mm=300)


def powder(level, share=None, rough=0.08, bright=0.8, size=120):
    """Light of an even powder with grains in it, (size, size), and all of it as the mask."""
    base = level * np.exp(np.random.default_rng(1).normal(0, rough, (size, size)))
    light = base if share is None else np.where(share, bright, base)
    return light.astype(np.float32), np.ones((size, size), bool)


def test_even_grey_is_found_and_measured():
    part = grey_part(*powder(0.3), PPM, 0.06)
    assert part is not None
    assert part.level == pytest.approx(0.3, rel=0.06)
    assert part.spread == pytest.approx(0.08, abs=0.03)
    assert part.share > 0.9


@pytest.mark.parametrize(("level", "dark"), [(0.06, 0.06), (0.8, 0.06), (0.15, 0.1)])
def test_oxide_chloride_and_the_lighter_side_of_oxide_are_no_grey(level, dark):
    assert grey_part(*powder(level), PPM, dark) is None


def test_specks_of_chloride_in_oxide_are_no_even_grey():
    share = np.random.default_rng(2).random((120, 120)) < 0.35
    assert grey_part(*powder(0.06, share), PPM, 0.06) is None


def test_grains_in_grey_are_read_from_the_grey_and_doubted_up_to_a_mix():
    share = grains(Solid(0.2, 0.6, seed=3), (120, 120), PPM)
    grey, mask = powder(0.3, share)
    part = grey_part(grey, mask, PPM, 0.06)
    both = grey_shares(grey, mask, PPM, part, (0.06, 0.3))
    assert both.likely.mean() == pytest.approx(share.mean(), abs=0.02)
    assert both.low.mean() <= share.mean()
    # all of the grey as oxide and the darkest chloride
    assert both.high.mean() == pytest.approx(share.mean() + (1 - share.mean()) * 0.24 / 0.54, abs=0.02)


def test_facets_of_silver_are_no_sure_chloride():
    grey, mask = powder(0.3)
    grey[::7, ::7] = 0.9
    part = grey_part(grey, mask, PPM, 0.06)
    assert part is not None
    assert grey_shares(grey, mask, PPM, part, (0.06, 0.3)).low.max() <= 0.0


LEVELS = (0.06, 0.8)


def test_specks_that_never_get_bright_may_all_be_silver():
    mask = np.ones((40, 40), bool)
    share = np.zeros((40, 40), np.float32)
    share[10:14, 10:14] = 0.5
    assert perhaps_silver(np.where(share > 0, 0.4, 0.06).astype(np.float32), mask, share, LEVELS) == 1.0
    bright = np.where(share > 0, 0.7, 0.06).astype(np.float32)
    assert perhaps_silver(bright, mask, share, LEVELS) == pytest.approx(0.0, abs=1e-6)
    assert perhaps_silver(bright, mask, share, LEVELS, share > 0) == 1.0  # its brightness is facets
    lone = np.where(share > 0, 0.4, 0.06)
    lone[12, 12] = 0.7  # a single bright pixel in the patch
    assert perhaps_silver(lone.astype(np.float32), mask, share, LEVELS) == 1.0
    facets = np.where(share > 0, 0.4, 0.06)
    facets[10:14:2, 10:14:2] = 0.7  # more of them, each alone
    assert perhaps_silver(facets.astype(np.float32), mask, share, LEVELS) == 1.0
    share[30:34, 30:34] = 0.1  # a sixth of it lies apart from the bright grain
    grey = np.where(share > 0.4, 0.7, np.where(share > 0, 0.2, 0.06)).astype(np.float32)
    assert perhaps_silver(grey, mask, share, LEVELS) == pytest.approx(1 / 6, abs=0.02)


def test_silver_lies_beside_grains_as_densely_as_elsewhere():
    y, x = np.mgrid[0:160, 0:160]
    grain = (y % 16 < 6) & (x % 16 < 6)
    silver = ~grain & (np.random.default_rng(3).random(grain.shape) < 0.05)
    grey = np.where(grain, 0.8, np.where(silver, 0.4, 0.06)).astype(np.float32)
    share = (grey - 0.06) / np.float32(0.74)
    truth = float(share[silver].sum() / share.sum())
    assert perhaps_silver(grey, grey > 0, share, LEVELS) == pytest.approx(truth, rel=0.05)


def test_grains_of_one_level_no_lighter_than_silver_are_grey():
    y, x = np.mgrid[0:120, 0:120]
    silver, chloride = np.hypot(y - 30, x - 30) < 8, np.hypot(y - 80, x - 80) < 8
    mixed = np.where((y + x) % 3 == 0, 0.8, 0.2)  # grains of a pixel, many levels
    grey = np.where(silver, 0.5, np.where(chloride, 0.75, np.where(np.hypot(y - 30, x - 90) < 8, mixed, 0.06)))
    grey = grey.astype(np.float32)
    found = grey_grains(grey, grey > 0, PPM, LEVELS)
    assert (found == silver).all()
    assert grey_grains(grey, grey > 0, PPM, (0.06, 0.5))[silver].all()  # its own level passed for chloride's
    shaded = np.where(silver, 0.6, grey).astype(np.float32)  # a grain a little darker than the others, of chloride
    assert not grey_grains(shaded, grey > 0, PPM, (0.06, 0.7)).any()


def test_the_level_of_the_largest_grains_may_be_silvers():
    y, x = np.mgrid[0:120, 0:120]
    large, specks = np.hypot(y - 30, x - 30) < 8, (y % 10 < 2) & (x % 10 < 2)
    grey = np.where(specks, 0.85, np.where(large, 0.55, 0.06)).astype(np.float32)
    assert level_of_silver(grey, grey > 0, 0.55)
    assert not level_of_silver(np.where(specks, 0.64, grey).astype(np.float32), grey > 0, 0.55)
    assert not level_of_silver(grey, grey > 0, 0.63)  # lighter than silver
    alone = np.where(large & (y % 5 == 0) & (x % 5 == 0), 0.85, np.where(large, 0.55, 0.06)).astype(np.float32)
    assert not level_of_silver(alone, grey > 0, 0.55)  # facets


@pytest.mark.parametrize(("share", "doubted"), [(0.006, False), (0.012, True)])
def test_few_grey_grains_only_lower_the_interval(share, doubted):
    y, x = np.mgrid[0:240, 0:240]
    chloride = (y % 40 < 10) & (x % 40 < 10)
    wide = np.sqrt(share * 240 * 240 / 0.63)
    silver = (np.abs(y - 143.5) < 6) & (np.abs(x - 100) < wide * wide / 24)
    chloride &= ~((np.abs(y - 143.5) < 12) & (np.abs(x - 100) < wide * wide / 24 + 6))
    sample = sample_of(np.where(chloride, 1.0, np.where(silver, 0.63, 0.0)), rough=0.05)
    estimate = estimate_solid(sample, fix_colour(photo(1), KNOWN))
    assert ("grey_part" in {r.code for r in estimate.reasons}) == doubted
    assert estimate.interval[0] < chloride.mean() < estimate.interval[1]


def test_gaps_between_grains_may_be_silver():
    grey = np.array([[0.8, 0.8, 0.8, 0.4]], np.float32)
    assert all_gaps_silver(grey, np.ones((1, 4), bool), 0.8) == pytest.approx(0.75)


def test_what_hides_the_printed_ring_is_told_from_bare_paper():
    window = layout().windows["sample"]
    y, x = np.mgrid[0:200, 0:200] / 10.0 - 10.0
    places = np.stack([x + window.centre_mm[0], y + window.centre_mm[1]], axis=-1)
    bare = np.where(np.abs(np.hypot(x, y) - 7.0) < 0.2, 0.4, 1.0).astype(np.float32)
    assert not hides_ring(None, window, bare, places).any()
    covered = np.where(x < 0, 1.0, bare).astype(np.float32)
    half = hides_ring(None, window, covered, places)
    assert half[100, 50] == 1
    assert half[100, 150] == 0


@pytest.mark.parametrize("metal", [0.22, 0.3, 0.38])
@pytest.mark.parametrize("pale", [0.0, 0.15])
def test_chloride_in_silver(metal, pale):
    solid = Solid(pale, 0.5, silver=1.0, metal=metal, rough=0.1, seed=6)
    reading = read_solid(render(with_solid(SCENE, solid)).data)
    assert reading.status == "doubtful"
    assert "grey_part" in {r.code for r in reading.reasons}
    truth = true_share(solid)
    assert reading.pale_fraction == pytest.approx(truth, abs=0.05)
    assert reading.pale_interval[0] <= truth <= reading.pale_interval[1]
    assert reading.pale_interval[1] > 0.2  # an even grey may be a mix too fine to see


@pytest.mark.parametrize("patch", [0.1, 0.8])
def test_oxide_turning_silver_is_no_confident_chloride(patch):
    solid = Solid(0.0, silver=0.3, silver_mm=patch, metal=0.33, seed=7)
    reading = read_solid(render(with_solid(SCENE, solid)).data)
    assert reading.status == "doubtful"
    assert reading.pale_interval[0] == 0.0


@pytest.mark.parametrize(
    "solid",
    [
        Solid(1.0, bright=0.85, radius_mm=8.4, seed=1),
        Solid(1.0, bright=0.95, rough=0.05, radius_mm=9.0, seed=1),
        Solid(0.0, silver=1.0, metal=0.3, radius_mm=8.9, seed=2),
        Solid(0.9, 0.65, silver=0.3, silver_mm=0.8, radius_mm=10.2, seed=895818888),
    ],
    ids=["pale", "white", "grey", "few specks"],
)
def test_a_full_heap_is_never_an_empty_window(solid):
    reading = read_solid(render(with_solid(SCENE, solid)).data)
    assert "no_solid" not in {r.code for r in reading.reasons}


def test_small_patches_of_silver_are_no_confident_chloride():
    scene, solid = any_heap("three", 9020)
    assert (solid.silver, solid.pale < 0.02) == (0.05, True)
    reading = read_solid(render(with_solid(scene, solid)).data)
    assert "grey_part" in {r.code for r in reading.reasons}
    assert reading.pale_interval[0] <= true_share(solid)
    scene, solid = any_heap("three", 7031)
    reading = read_solid(render(with_solid(scene, solid)).data)
    assert reading.status == "ok"
    assert reading.pale_interval[0] <= true_share(solid) <= reading.pale_interval[1]


def test_silver_is_drawn_between_oxide_and_chloride():
    dark, bright, metal = spectra(Solid(metal=0.3))[:, 15]
    assert dark < metal == 0.3 < bright
    assert spectra(Solid(silver=0.5, metal=0.3))[0, 15] == pytest.approx((dark + 0.3) / 2)
    violet = spectra(Solid(violet=0.4))[1]
    assert violet[15] < min(violet[0], violet[-1]) < bright


def test_each_sort_of_heap_is_what_it_says():
    assert set(MIXES) < set(HEAPS)
    made = {sort: [any_heap(sort, n)[1] for n in range(8)] for sort in MIXES}
    assert all(s.silver == 1.0 and s.silver_mm == 0.0 for s in made["silver"])
    assert all(s.pale == 0.0 and 0.0 < s.silver < 1.0 for s in made["greying"])
    assert any(s.pale > 0.0 for s in made["three"])
    assert replace(made["three"][0]) == any_heap("three", 0)[1]
