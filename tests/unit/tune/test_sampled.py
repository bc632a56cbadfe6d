"""A photo without a picture gives what the reader measures on the rendered one."""

from dataclasses import replace

import numpy as np
import pytest

from stripread.strip.measure import measure
from tests.scenes import render
from tests.scenes.light import Lamp
from tests.scenes.phone import phone
from tests.scenes.printer import Printer
from tests.scenes.processing import finished
from tests.scenes.scene import random_scene
from tests.scenes.strips import kind
from tests.tune.sampled import sampled_photo, scene_of_setup


def test_patches_and_pads_are_those_of_the_picture():
    """Paper with much brightener, a lens with much flare: either left out moves values by 0.01 to 0.03."""
    scene = random_scene(np.random.default_rng([38, 0, 1]), printer_seed=38, sheet_seed=38, phone_seed=25)
    assert Printer.from_seed(38, False).brightener > 0.12
    assert phone(25).flare > 0.015
    scene = replace(scene, size=(1344, 1008), lamps=(Lamp("D65"),), curvature=0.0, local_tone=0.0, icc="srgb")
    state = scene.strips[0].strip
    seen = measure(render(scene).data, kind(state.kind))
    got = sampled_photo(scene, [state], np.random.default_rng(0))
    off = got.samples.rgb - seen.samples.rgb
    assert np.sqrt((off**2).mean()) < 0.012  # print texture and noise, 0.005 each; drift of ink over the sheet
    assert np.abs(off.mean(axis=0)).max() < 0.006
    assert np.abs(got.pads.rgb - seen.pads.rgb).max() < 0.03  # mottle, the edge's shadow
    assert (got.samples.centre_mm == seen.samples.centre_mm).all()


def test_every_strip_is_seen_by_the_same_phone_in_the_same_light():
    scene = scene_of_setup(3, 0, 1)
    state = scene.strips[0].strip
    two = sampled_photo(scene, [state, state], np.random.default_rng(0)).pads
    pads = len(two.rgb) // 2
    assert np.abs(two.rgb[:pads] - two.rgb[pads:]).max() < 0.015  # noise alone, 0.002 each
    assert (two.noise > 0).all()


def test_setups_lie_in_both_worlds_and_none_in_the_judging_half():
    assert [scene_of_setup(n, 0, 1).world for n in range(8)] == 2 * (2 * ["made-up"] + 2 * ["choosing"])


def test_a_measured_phone_has_its_look():
    """Its pads differ from those of the same phone without its processing as whole pictures of them do."""
    scene = scene_of_setup(2, 0, 1)
    eye = phone(scene.phone_seed, scene.world)
    state = scene.strips[0].strip
    with pytest.MonkeyPatch.context() as patch:
        seen = sampled_photo(scene, [state], np.random.default_rng(0)).samples.rgb
        patch.setattr("tests.tune.sampled.looked", lambda encoded, by: encoded)
        plain = sampled_photo(scene, [state], np.random.default_rng(0)).samples.rgb
    codes = np.round(plain * 255).astype(np.uint8)[None]
    look = finished(codes, replace(eye.processing, chroma_px=0.0, halo=0.0))[0] / 255.0
    assert np.abs(seen - plain).max() > 0.01
    assert np.abs(seen - look).max() < 0.012  # the picture's steps, twice


def test_a_phone_may_be_fixed_and_the_rest_stays():
    mine, anybody = scene_of_setup(3, 0, 1, phone_seed=9), scene_of_setup(3, 0, 1)
    assert mine == replace(anybody, phone_seed=9)
    assert mine.printer_seed == 3
