"""A strip that has begun to dry: dye creeps to the pads' edges, and the edges are left out of the reading."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from stripread.ph.profile import load_profile
from stripread.ph.read import read_ph
from tests.scenes.demo import CARD, CEILING, LOT
from tests.scenes.photo import render
from tests.scenes.scene import random_scene

PROFILE = load_profile(Path(__file__).resolve().parents[3] / "service" / "demo" / "profile.toml")


def test_a_dried_edge_does_not_move_the_value():
    rng = np.random.default_rng([3, 1])
    scene = random_scene(rng, "four", 5.3, lot_seed=LOT, **CARD, phone_seed=3, lamps=(CEILING,))
    (lying,) = scene.strips
    values = []
    for drying in (0.0, 1.0):
        strips = (replace(lying, strip=replace(lying.strip, drying=drying)),)
        got = read_ph(render(replace(scene, size=(1440, 1080), strips=strips)).data, PROFILE)
        assert got.status != "refused"
        values.append(got.ph)
    assert values[1] == pytest.approx(values[0], abs=0.05)  # a quarter of the interval
