"""Vials found in rendered photos, and the reading of a tint from photo to JSON."""

import json
from dataclasses import replace

import numpy as np
import pytest

from service.cli import main
from stripread.card.layout import layout
from stripread.tint.read import TintRequest, read_tint, trace_tint
from stripread.window.vials import find_vials
from tests.scenes import Scene, render
from tests.scenes.vial import Vial, copper, hydroxide, with_vials

SCENE = Scene(printer_seed=3, phone_seed=5, level=0.7, fill=0.9, distance_mm=320, tilt_deg=4.0)


def photo(sample, blank=None, scene=SCENE):
    return render(with_vials(scene, sample, blank)).data


def pair(mg, path=20.0, **fixed):
    blank = Vial(depth_mm=path, height_mm=path + 8, seed=1)
    return replace(blank, **{"dyes": (copper(mg, path),), "seed": 2, **fixed}), blank


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
    reading = read_tint(blue, TintRequest(path_mm=20.0, retained_ml=100.0, silver_g=50.0))
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
    reading = read_tint(photo(*pair(0.0)), TintRequest(path_mm=20.0))
    assert reading.decision == "none seen"
    assert reading.interval[0] == 0.0


def test_milk_is_not_copper():
    reading = read_tint(photo(*pair(0.0, haze=0.3)), TintRequest(path_mm=20.0))
    assert reading.decision == "undecided"
    assert {"cloudy", "other_colour"} & {r.code for r in reading.reasons}


@pytest.mark.parametrize("haze", [0.3, 0.5])
def test_pale_blue_hydroxide_is_copper_with_too_little_ammonia(haze):
    reading = read_tint(photo(*pair(0.0, **hydroxide(haze))), TintRequest(path_mm=20.0))
    assert reading.decision == "copper"
    assert reading.status == "doubtful"
    said = {r.code: r.message for r in reading.reasons}
    assert "Add ammonia" in said["pale_blue_precipitate"]
    assert "path_unknown" not in said
    assert reading.mg_per_l is None  # a cloud's colour is no measure of how much is dissolved


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


def run(capsys, *argv):
    with pytest.raises(SystemExit) as stop:
        main([str(a) for a in argv])
    out = capsys.readouterr()
    return stop.value.code, out.out, out.err


def test_the_command_gives_the_fixed_json_and_exit_codes(blue, tmp_path, capsys):
    path = tmp_path / "blue.jpg"
    path.write_bytes(blue)
    code, out, _ = run(capsys, "tint", path, "--path-mm", 20, "--json")
    table = json.loads(out)
    assert code == 0
    fixed = {"photo", "kind", "status", "decision", "absorbance", "absorbance_interval", "delta_e", "mg_per_l"}
    fixed |= {"interval", "detection_limit", "level", "reasons", "sha256", "software", "seconds"}
    assert fixed <= set(table)
    assert (table["photo"], table["level"]) == (str(path), 0.95)
    (tmp_path / "no.jpg").write_bytes(b"no picture")
    assert run(capsys, "tint", tmp_path / "no.jpg")[0] == 1
    assert run(capsys, "solid", tmp_path / "no.jpg", "--json")[0] == 1
    code, out, err = run(capsys, "tint", path, "--path-mm", -3)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert run(capsys, "solid", path, "--region", "1,2,3")[0] == 2
    assert run(capsys, "tint", tmp_path / "missing.jpg")[0] == 2


def test_standards_are_learned_and_used(tmp_path, capsys):
    lines = ["photo,mg_per_l,path_mm"]
    for n, mg in enumerate((0.0, 40.0, 120.0)):
        (tmp_path / f"{n}.jpg").write_bytes(photo(*pair(mg), scene=replace(SCENE, shot_seed=20 + n)))
        lines.append(f"{n}.jpg,{mg},20")
    (tmp_path / "standards.csv").write_text("\n".join(lines))
    out = tmp_path / "tint.toml"
    assert run(capsys, "calibrate-tint", tmp_path / "standards.csv", "--out", out)[0] == 0
    unknown = tmp_path / "unknown.jpg"
    unknown.write_bytes(photo(*pair(70.0), scene=replace(SCENE, shot_seed=31)))
    plain = json.loads(run(capsys, "tint", unknown, "--path-mm", 20, "--json")[1])
    taught = json.loads(run(capsys, "tint", unknown, "--path-mm", 20, "--json", "--standards", out)[1])
    assert taught["interval"][0] <= 70.0 <= taught["interval"][1]
    assert np.diff(taught["interval"])[0] < 0.75 * np.diff(plain["interval"])[0]
    (tmp_path / "standards.csv").write_text("photo,mg\n0.jpg,1\n")
    code, _, err = run(capsys, "calibrate-tint", tmp_path / "standards.csv", "--out", out)
    assert code == 2
    assert "photo,mg_per_l,path_mm" in err
