"""Two strips in one lane are both read, and can be combined."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from stripread.ph.buffers import Liquid
from stripread.ph.combined_reading import combine, observed_photo
from stripread.ph.profile import load_profile
from stripread.ph.read import trace_ph
from tests.scenes.demo import CARD, CEILING, LOT
from tests.scenes.faults import second_strip
from tests.scenes.photo import render
from tests.scenes.scene import random_scene

PROFILE = load_profile(Path(__file__).resolve().parents[3] / "service" / "demo" / "profile.toml")


@pytest.fixture(scope="module")
def trace():
    rng = np.random.default_rng([5, 2])
    scene = random_scene(rng, "four", 4.2, lot_seed=LOT, **CARD, phone_seed=3, lamps=(CEILING,))
    scene = replace(second_strip(scene, 9.0, rng), size=(1440, 1080), fill=0.8)
    return trace_ph(render(scene).data, PROFILE, "two.jpg")


def test_both_strips_are_read(trace):
    told = trace.reading.to_dict()
    assert sorted(round(s["ph"], 0) for s in told["strips"]) == [4.0, 9.0]
    assert all(len(s["pads"]) == 4 for s in told["strips"])
    assert (told["ph"], told["interval"], told["pads"]) == tuple(
        told["strips"][0][k] for k in ("ph", "interval", "pads")
    )


def test_strips_of_two_liquids_are_not_believed_to_be_one(trace):
    together = combine([observed_photo(trace)], PROFILE, same_strip=False)
    assert together.reading.status != "ok"
    assert "photos_disagree" in [r.code for r in together.reading.reasons]
    assert len(together.parts) == 2


def test_as_one_strip_photographed_again_only_the_first_counts(trace):
    together = combine([observed_photo(trace)], PROFILE, same_strip=True)
    assert together.reading.ph == pytest.approx(trace.reading.ph, abs=0.01)
    assert together.reading.interval == pytest.approx(trace.reading.interval, abs=0.01)
    assert "other_strips" in [r.code for r in together.reading.reasons]


# Strips 11 mm apart: in the first the lower one is the plainer, in the second its carrier once passed for a shadow.
@pytest.mark.parametrize("seed", [3, 15])
def test_two_strips_close_together_are_read_in_the_order_of_the_lane(seed):
    rng = np.random.default_rng([seed, 77])
    upper, lower = rng.uniform(1, 12, 2)
    scene = second_strip(random_scene(rng, "four", float(upper), lot_seed=LOT, **CARD), float(lower), rng)
    one, two = scene.strips
    apart = (replace(one, y_mm=31.5), replace(two, y_mm=42.5))
    reading = trace_ph(render(replace(scene, strips=apart, size=(1512, 1134))).data, PROFILE, "close.jpg").reading
    assert [strip.ph for strip in reading.strips] == pytest.approx([upper, lower], abs=0.2)
    assert reading.ph == reading.strips[0].ph


def test_a_comparison_makes_a_near_sample_surer_and_leaves_a_far_one():
    rng = np.random.default_rng([8, 78])
    scene = second_strip(random_scene(rng, "four", 6.0, lot_seed=LOT, **CARD), 6.3, rng)
    one, two = scene.strips
    apart = (replace(one, y_mm=31.5), replace(two, y_mm=42.5))
    data = render(replace(scene, strips=apart, size=(1512, 1134))).data
    alone = trace_ph(data, PROFILE).reading
    beside = trace_ph(data, PROFILE, "", Liquid("known", 6.3, 0.01)).reading
    assert beside.status == "ok"
    assert beside.ph == pytest.approx(6.0, abs=0.1)
    assert beside.interval[0] <= 6.0 <= beside.interval[1]
    widths = [r.interval[1] - r.interval[0] for r in (beside, alone)]
    assert widths[0] < 0.75 * widths[1]
    assert beside.strips[1].ph == alone.strips[1].ph  # the comparison itself is read as ever
    told = beside.to_dict()["comparison"]
    assert told["ph"] == 6.3
    assert told["delta_interval"][0] < -0.3 < told["delta_interval"][1]
    assert "comparison" not in alone.to_dict()


def test_a_single_strip_can_not_be_compared():
    rng = np.random.default_rng([9, 78])
    data = render(replace(random_scene(rng, "four", 6.0, lot_seed=LOT, **CARD), size=(1512, 1134))).data
    got = trace_ph(data, PROFILE, "", Liquid("water", None, 0.0)).reading
    assert (got.status, got.ph, got.interval) == ("refused", None, None)
    assert "one_strip" in [r.code for r in got.reasons]
