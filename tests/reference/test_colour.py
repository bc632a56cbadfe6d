"""Colour arithmetic against published values and an independent library; the source stands in each CSV row."""

import csv
from pathlib import Path

import numpy as np
import pytest

from stripread import colour as c

DATA = Path(__file__).resolve().parents[1] / "data"


def _rows(name):
    with (DATA / name).open(encoding="utf-8") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


COLOUR = _rows("colour.csv")
PAIRS = _rows("ciede2000.csv")


def _values(row):
    return np.array([float(row[k]) for k in ("v1", "v2", "v3") if row[k] not in ("", None)])


def _triple(row):
    return np.array([float(v) for v in row["item"].split("[")[1].strip("] ").split(",")])


def _of(quantity):
    rows = [r for r in COLOUR if r["quantity"] == quantity]
    assert rows
    return rows


@pytest.mark.parametrize("row", PAIRS, ids=lambda r: r["pair"])
def test_ciede2000_published_pairs(row):
    # Sharma, Wu, Dalal 2005, Color Res. Appl. 30(1) 21-30: printed to 4 decimals, so within half of the last
    one = [float(row[k]) for k in ("L1", "a1", "b1")]
    two = [float(row[k]) for k in ("L2", "a2", "b2")]
    assert c.delta_e(one, two) == pytest.approx(float(row["delta_e_2000"]), abs=5.1e-5)


@pytest.mark.parametrize("row", _of("srgb_decode"), ids=lambda r: r["item"])
def test_srgb_curve(row):
    assert c.srgb_decode(float(row["item"])) == pytest.approx(float(row["v1"]), abs=1e-7)
    assert c.srgb_encode(float(row["v1"])) == pytest.approx(float(row["item"]), abs=1e-5)


@pytest.mark.parametrize("row", _of("xyz_lab_d50"), ids=lambda r: r["item"])
def test_cielab(row):
    # The reference divides by D50 from its chromaticity; ours is D50 summed over the spectrum: up to 0.02 apart.
    assert c.xyz_to_lab(_triple(row)) == pytest.approx(_values(row), abs=0.02)


@pytest.mark.parametrize("row", _of("srgb_lab_d50_bradford"), ids=lambda r: r["item"])
def test_srgb_to_lab_by_bradford(row):
    # same two D50s; and the fourth digit of the adapted matrix
    assert c.rgb_to_lab(c.srgb_decode(_triple(row))) == pytest.approx(_values(row), abs=0.03)


def test_matrix_is_bradford_times_srgb():
    bradford = np.array([_values(r) for r in _of("bradford") if r["item"].startswith("D65->D50 ASTM")])
    srgb = np.array([_values(r) for r in _of("srgb_to_xyz") if r["item"].startswith("row")])
    assert bradford @ srgb == pytest.approx(c.RGB_TO_XYZ, abs=2e-4)
    assert c.RGB_TO_XYZ.sum(axis=1) == pytest.approx(c.WHITE_D50, abs=1e-12)


def test_against_colour_science():
    import colour

    rng = np.random.default_rng(3)
    xyz = rng.uniform(0.0, 1.0, (500, 3))
    white = colour.XYZ_to_xy(c.WHITE_D50)
    theirs = colour.XYZ_to_Lab(xyz, white)
    assert c.xyz_to_lab(xyz) == pytest.approx(theirs, abs=1e-3)  # xy to XYZ rounds the white
    assert c.lab_to_xyz(theirs) == pytest.approx(xyz, abs=1e-5)


def test_any_shape_and_round_trip():
    rng = np.random.default_rng(4)
    rgb = rng.uniform(0.0, 1.2, (4, 5, 3))
    assert c.lab_to_rgb(c.rgb_to_lab(rgb)) == pytest.approx(rgb, abs=1e-12)
    assert c.rgb_to_lab(rgb)[2, 3] == pytest.approx(c.rgb_to_lab(rgb[2, 3]))
    assert np.isnan(c.rgb_to_lab([np.nan, 0.5, 0.5])).any()


def test_jacobian_is_the_slope():
    rng = np.random.default_rng(5)
    rgb = np.concatenate([rng.uniform(0.02, 1.0, (20, 3)), rng.uniform(0.0001, 0.004, (10, 3))])
    J = c.lab_jacobian(rgb)
    for k in range(3):
        step = np.zeros(3)
        step[k] = 1e-7
        slope = (c.rgb_to_lab(rgb + step) - c.rgb_to_lab(rgb - step)) / 2e-7
        assert J[:, :, k] == pytest.approx(slope, rel=2e-4, abs=1e-3)
