"""Vials found in rendered photos, and the reading of a tint from photo to JSON."""

from dataclasses import replace

import numpy as np
import pytest

from stripread.card import layout
from stripread.vials import find_vials
from stripread.windows_pipeline import TintAsk, read_tint, trace_tint
from tests.scenes import Scene, render
from tests.scenes.vial import Vial, copper, with_vials

SCENE = Scene(printer_seed=3, phone_seed=5, level=0.7, fill=0.9, distance_mm=320, tilt_deg=4.0)


def photo(sample, blank=None, scene=SCENE):
    return render(with_vials(scene, sample, blank)).data


def pair(mg, path=20.0, **fixed):
    blank = Vial(depth_mm=path, height_mm=path + 8, seed=1)
    return replace(blank, dyes=(copper(mg, path),), seed=2, **fixed), blank


@pytest.fixture(scope="module")
def blue():
    return photo(*pair(60.0))


def test_liquid_lies_in_the_window_and_off_the_printed_ring(blue):
    trace = trace_tint(blue)
    for name, vial in (("sample", trace.vials.sample), ("blank", trace.vials.blank)):
        middle = np.array(layout().windows[name].centre_mm)
        assert np.hypot(*(np.array(vial.centre_mm) - middle)) < 6.0
        assert vial.area_mm2 > 30.0
        pixels = vial.pixels(trace.card.view)
        assert np.ptp(np.quantile(pixels.mean(axis=1), [0.01, 0.99])) < 0.12


def test_copper_is_called_and_its_concentration_held(blue):
    reading = read_tint(blue, TintAsk(path_mm=20.0, retained_ml=100.0, silver_g=50.0))
    assert reading.status == "ok"
    assert reading.decision == "copper"
    assert reading.interval[0] <= 60.0 <= reading.interval[1]
    assert reading.detection_limit < 10.0
    assert reading.metal["ppm_of_silver"] == pytest.approx(reading.mg_per_l * 0.1 / 50.0 * 1000)
    table = reading.to_dict()
    assert table["kind"] == "tint"
    assert "caution_explosive" in [r["code"] for r in table["reasons"]]


def test_without_a_path_there_is_no_concentration(blue):
    reading = read_tint(blue)
    assert reading.mg_per_l is None
    assert reading.detection_limit is None
    assert reading.absorbance_interval[0] < reading.absorbance < reading.absorbance_interval[1]


def test_clean_liquid_is_none_seen():
    reading = read_tint(photo(*pair(0.0)), TintAsk(path_mm=20.0))
    assert reading.decision == "none seen"
    assert reading.interval[0] == 0.0


def test_milk_is_not_copper():
    reading = read_tint(photo(*pair(0.0, haze=0.3)), TintAsk(path_mm=20.0))
    assert reading.decision == "undecided"
    assert {"cloudy", "other_colour"} & {r.code for r in reading.reasons}


def test_a_bare_card_is_refused_with_the_cautions():
    reading = read_tint(render(SCENE).data)
    assert reading.status == "refused"
    assert reading.reasons[0].code == "no_vial"
    assert reading.absorbance is None
    assert "caution_explosive" in [r.code for r in reading.reasons]


def test_nothing_is_found_on_bare_paper():
    trace = trace_tint(render(SCENE).data)
    found = find_vials(trace.card.view, layout())
    assert found.sample is None
    assert found.blank is None
