"""Vessels other than vials: found, and read right or left undecided; what tells bowls, reflections and faint rims."""

from dataclasses import replace

import numpy as np
import pytest

from stripread.card.layout import layout
from stripread.tint.read import TintRequest, read_tint, trace_tint
from stripread.window.bowl import middle_of
from stripread.window.evenness import evenness
from stripread.window.faint_rim import faint_rim
from stripread.window.vials import find_vials
from tests.scenes import Scene, render
from tests.scenes.spectra import WAVELENGTHS
from tests.scenes.vessels import Flat, Well, with_vessels
from tests.scenes.vial import Vial, copper

SCENE = Scene(printer_seed=3, phone_seed=5, level=0.7, fill=0.9, distance_mm=320, tilt_deg=4.0)


def read(sample, blank, path, scene=SCENE):
    return read_tint(render(with_vessels(scene, sample, blank)).data, TintRequest(path_mm=path))


def like(vessel, mg, path):
    """Sample and blank alike but for the copper."""
    return replace(vessel, dyes=(copper(mg, path),), seed=1), replace(vessel, seed=2)


def rim(height, noise, seed=0):
    """A disc of 6 mm radius, a little lighter than its surroundings, in noise."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[:176, :176] / 4.0
    inside = np.hypot(x - 21.0, y - 23.0) < 6.0
    return (0.6 + height * inside + rng.normal(0, noise, inside.shape)).astype(np.float32)


def test_a_rim_below_the_noise_of_one_angle_is_found():
    origin = np.array([0.0, 0.0, 0.25])
    found = faint_rim([rim(0.012, 0.005)], origin, (22.0, 22.0))
    assert found is not None
    centre, radius, height = found
    assert np.hypot(centre[0] - 21.0, centre[1] - 23.0) < 0.8
    assert radius == pytest.approx(6.0, abs=0.25)
    assert height == pytest.approx(0.012, rel=0.3)  # other draws of the noise: 0.0116 to 0.0149


@pytest.mark.parametrize("seed", range(5))
def test_noise_has_no_rim(seed):
    assert faint_rim([rim(0.0, 0.02, seed)], np.array([0.0, 0.0, 0.25]), (22.0, 22.0)) is None


@pytest.mark.parametrize(
    ("vessel", "mg", "path"),
    [
        (Well(9.0, 7.0, bowl=1.0), 150.0, 7.0),
        (Well(9.0, 7.0, bowl=0.0), 150.0, 7.0),
        (Vial(14.0, 2.0, 30.0, 15.0, glints=1), 60.0, 15.0),
        (Vial(6.0, 0.8, 16.0, 12.0), 90.0, 12.0),
        (Flat(4.0, 0.5, "faint"), 250.0, 25.0),
        (Flat(14.0, 1.0, "bright", ring=False, spots=2), 40.0, 20.0),
    ],
)
def test_other_vessels_are_found_and_their_copper_read(vessel, mg, path):
    reading = read(*like(vessel, mg, path), path)
    assert reading.decision == "copper"
    assert reading.interval[0] <= mg <= reading.interval[1]


@pytest.mark.parametrize("vessel", [Well(9.0, 7.0), Well(8.0, 6.0, bowl=0.0, glaze=0.85), Flat(10.0, 0.8, "double")])
def test_other_vessels_with_nothing_in_them(vessel):
    reading = read(*like(vessel, 0.0, 10.0), 10.0)
    assert reading.decision == "none seen"
    assert reading.interval[0] == 0.0


def test_the_tint_of_a_bowl_falls_outward_and_of_a_flat_floor_does_not():
    falls = []
    for bowl in (0.0, 1.0):
        trace = trace_tint(render(with_vessels(SCENE, *like(Well(9.0, 7.0, bowl=bowl), 150.0, 7.0))).data)
        found = find_vials(trace.card.view, layout())
        tint, none = evenness(trace.card.view, found.sample), evenness(trace.card.view, found.blank)
        assert (trace.vials.sample.area_mm2 < 0.5 * found.sample.area_mm2) == (bowl > 0)  # the middle is read
        falls.append(-tint.outward / (tint.middle - none.mean))
    assert abs(falls[0]) < 0.2
    assert falls[1] > 0.35


def test_a_lamp_mirrored_in_the_middle_of_a_bowl_leaves_something_to_read():
    trace = trace_tint(render(with_vessels(SCENE, *like(Well(9.0, 7.0, glints=0), 150.0, 7.0))).data)
    vial = find_vials(trace.card.view, layout()).sample
    rows, columns = np.indices(vial.mask.shape)
    away = np.hypot(rows - rows[vial.mask].mean(), columns - columns[vial.mask].mean())
    holed = replace(vial, mask=vial.mask & (away > 0.6 * away[vial.mask].max()))
    assert middle_of(trace.card.view, holed).mask.any()
    assert middle_of(trace.card.view, vial).mask.sum() < 0.3 * vial.mask.sum()


def test_a_reflection_on_one_side_is_no_copper():
    sky = 0.12 * np.exp(-(((WAVELENGTHS - 470) / 60) ** 2))
    blank = Vial(depth_mm=20, height_mm=28, seed=1)
    reading = read(replace(blank, mirror=sky, seed=6), blank, 20.0)
    assert reading.decision == "undecided"
    assert "uneven_liquid" in {r.code for r in reading.reasons} or "other_colour" in {r.code for r in reading.reasons}


def test_where_the_sample_was_not_seen_nothing_is_said_to_be_absent():
    blank = Vial(depth_mm=20, height_mm=28, seed=1)
    reading = read(None, blank, 20.0)
    assert reading.decision == "undecided"
    assert "rim_not_seen" in {r.code for r in reading.reasons}


def test_small_and_off_the_middle():
    scene = with_vessels(SCENE, *like(replace(Flat(5.0, 0.6), off_mm=(3.0, -2.0)), 60.0, 20.0))
    trace = trace_tint(render(scene).data)
    found = find_vials(trace.card.view, layout())
    want = np.array(layout().windows["sample"].centre_mm) + np.array([3.0, -2.0])
    assert np.hypot(*(np.array(found.sample.centre_mm) - want)) < 1.5
