"""The measured world: halves that never meet, physics that holds in it, and a made-up world untouched by it."""

import hashlib
from dataclasses import replace

import numpy as np
import pytest

from tests.scenes import random_scene
from tests.scenes.measured import WORLDS, cameras, lamps, response
from tests.scenes.phone import phone
from tests.scenes.photo import render
from tests.scenes.processing import NONE, Processing, finished, local_gain, veiled
from tests.scenes.spectra import WAVELENGTHS, observer, source

MEASURED = [world for world in WORLDS if world != "made-up"]


def test_the_halves_share_no_camera_and_no_lamp():
    assert set(cameras("choosing")).isdisjoint(cameras("judging"))
    assert len(cameras("choosing")) >= 10
    assert len(cameras("judging")) >= 10
    for poor in (False, True):
        assert set(lamps("choosing", poor)).isdisjoint(lamps("judging", poor))
        assert not set(lamps("choosing", poor)) & set(lamps("choosing", not poor))


@pytest.mark.parametrize("world", MEASURED)
def test_sensitivities_peak_where_those_of_cameras_do(world):
    """Blue, green, red in this order, each below the next by 30 nm or more: common practice, no source."""
    for seed in range(8):
        seen = response(world, seed)
        assert seen.shape == (31, 3)
        assert seen.max(axis=0) == pytest.approx([1.0, 1.0, 1.0])
        assert (seen >= 0.0).all()
        red, green, blue = WAVELENGTHS[seen.argmax(axis=0)]
        assert blue + 30 <= green <= red - 30


@pytest.mark.parametrize("world", MEASURED)
def test_lamps_have_unit_luminance_and_no_negative_power(world):
    for name in (*lamps(world), *lamps(world, poor=True)):
        power = source(name)
        assert float(power @ observer()[:, 1]) == pytest.approx(1.0)
        assert (power >= 0.0).all()


def test_the_same_seed_is_the_same_phone_and_another_world_another():
    one, other = phone(5, "choosing"), phone(5, "judging")
    assert np.array_equal(one.response, response("choosing", 5))
    assert not np.array_equal(one.response, other.response)
    assert one.processing == other.processing  # what a phone does to pictures is made up in both
    assert phone(5).processing == NONE


def scene(world):
    made = random_scene(np.random.default_rng([4, 4]), "four", 6.0, phone_seed=3, world=world)
    return replace(made, size=(504, 378))


def test_scenes_differ_by_world_alone():
    made, measured = scene("made-up"), scene("judging")
    assert [(one.x_mm, one.strip.ph, one.strip.lot_seed, one.strip.strip_seed) for one in made.strips] == [
        (one.x_mm, one.strip.ph, one.strip.lot_seed, one.strip.strip_seed) for one in measured.strips
    ]
    assert {lamp.spectrum for lamp in measured.lamps} <= set(lamps("judging"))
    pictures = {world: hashlib.sha256(render(scene(world)).data).hexdigest() for world in WORLDS}
    assert len(set(pictures.values())) == 3
    assert pictures["judging"] == hashlib.sha256(render(scene("judging")).data).hexdigest()


GREY = np.full((96, 128, 3), 120, dtype=np.uint8)
STEP = np.concatenate([np.full((96, 64, 3), 60, np.uint8), np.full((96, 64, 3), 180, np.uint8)], axis=1)
RED = np.concatenate([GREY[:, :64], np.full((96, 64, 3), (170, 90, 90), np.uint8)], axis=1)


def test_grey_stays_grey_whatever_a_look_does_to_hues():
    by = Processing(chroma_px=2.0, halo=0.2, hues=(3.0, -2.0, 1.0, 0.5), chromas=(0.05, 0.0, -0.03, 0.02))
    assert np.abs(finished(GREY, by).astype(int) - 120).max() <= 1
    assert np.array_equal(finished(RED, NONE), RED)


def test_halos_overshoot_and_smoothed_chroma_bleeds():
    rows = finished(STEP, Processing(halo=0.2, halo_px=3.0))[48, :, 0]
    assert rows.min() < 58
    assert rows.max() > 182
    redness = finished(RED, Processing(chroma_px=3.0))[48, :, :].astype(int) @ [1, -1, 0]
    assert redness[61] > 10 > redness[20]


def test_a_greasy_lens_moves_light_and_loses_none():
    light = np.zeros((96, 128, 3), dtype=np.float32)
    light[:, 64:] = 1.0
    seen = veiled(light, 0.03)
    assert seen.mean() == pytest.approx(light.mean(), rel=0.01)
    assert 0.002 < seen[48, 50, 0] < 0.03  # near the edge; the far corner has next to nothing
    assert seen[48, 2, 0] < seen[48, 50, 0]


def test_local_tone_lifts_the_dark_side_and_keeps_the_edge():
    gain = local_gain((STEP / 255.0).astype(np.float32), 0.2, 0.02)
    assert gain[48, 10] > 1.1 * gain[48, 118]
