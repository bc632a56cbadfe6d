"""A photo without a picture gives what the reader measures on the rendered one."""

from dataclasses import replace

import numpy as np

from stripread.strip.measure import measure
from tests.scenes import render
from tests.scenes.strips import kind
from tests.tune.sampled import PATCH_SD, sampled_photo, scene_of_setup


def test_patches_and_pads_are_those_of_the_picture():
    scene = replace(scene_of_setup(3, 2, 1), size=(1344, 1008))
    state = scene.strips[0].strip
    seen = measure(render(scene).data, kind(state.kind))
    got = sampled_photo(scene, [state], np.random.default_rng(0))
    assert np.sqrt(((got.samples.rgb - seen.samples.rgb) ** 2).mean()) < 3 * PATCH_SD
    assert np.abs((got.samples.rgb - seen.samples.rgb).mean()) < PATCH_SD
    assert np.abs(got.pads.rgb - seen.pads.rgb).max() < 0.03  # mottle, the edge's shadow
    assert (got.samples.centre_mm == seen.samples.centre_mm).all()


def test_every_strip_is_seen_by_the_same_phone_in_the_same_light():
    scene = scene_of_setup(3, 0, 1)
    state = scene.strips[0].strip
    two = sampled_photo(scene, [state, state], np.random.default_rng(0)).pads
    pads = len(two.rgb) // 2
    assert np.abs(two.rgb[:pads] - two.rgb[pads:]).max() < 0.015  # noise alone, 0.002 each
    assert (two.noise > 0).all()


def test_a_phone_may_be_fixed_and_the_rest_stays():
    mine, anybody = scene_of_setup(3, 0, 1, phone_seed=9), scene_of_setup(3, 0, 1)
    assert mine == replace(anybody, phone_seed=9)
    assert mine.printer_seed == 3
