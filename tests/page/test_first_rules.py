"""What the first day works out on the page itself, run without a browser: orders, typed numbers, pads, the map."""

import json
import shutil
import subprocess
from pathlib import Path

import cv2
import numpy as np
import pytest

RULES = Path(__file__).resolve().parents[2] / "service" / "page" / "first_rules.js"


@pytest.fixture(scope="module")
def rules(tmp_path_factory):
    """Calls a function of the file with JSON arguments."""
    node = shutil.which("node")
    if node is None:
        pytest.skip("node is not installed")
    copy = tmp_path_factory.mktemp("rules") / "rules.mjs"
    copy.write_text(RULES.read_text(encoding="utf-8"), encoding="utf-8")

    def called(name, *arguments):
        script = f"import * as rules from {json.dumps(copy.as_uri())};"
        script += f"console.log(JSON.stringify(rules.{name}(...{json.dumps(arguments)})));"
        command = [node, "--input-type=module", "-e", script]
        return json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)

    return called


@pytest.mark.parametrize(
    ("typed", "values"),
    [
        ("4.01 7.00", [4.01, 7.0]),
        ("4,01; 7,00, 10,01", [4.01, 7.0, 10.01]),
        ("7 7.0", [7.0]),
        ("", []),
        ("4.01 x", None),
        ("-1", None),
        ("14.5", None),
        ("4.01.2", None),
    ],
)
def test_ph_values_typed_in_a_line(rules, typed, values):
    assert rules("typedPhs", typed) == values


def test_the_next_liquid_is_the_one_farthest_from_all_that_are_there(rules):
    liquids = [{"key": f"pH {ph}", "ph": ph} for ph in (4, 5, 6.9, 9, 10)]
    order = [one["ph"] for one in rules("inOrder", liquids, [], [0, 14])]
    assert order in ([4, 10, 6.9, 9, 5], [4, 10, 6.9, 5, 9])
    taken = [{"liquid": "pH 4", "ph": 4}, {"liquid": "pH 10", "ph": 10}, {"liquid": "pH 10", "ph": 10}]
    order = [one["ph"] for one in rules("inOrder", liquids, taken, [0, 14])]
    assert order[0] == 6.9
    assert order[-2:] == [4, 10]  # the one with one photo before the one with two
    outside = [{"key": "lye", "ph": 13}, {"key": "cold", "ph": None}, {"key": "mild", "ph": 7}]
    assert rules("inOrder", outside, [], [3, 11])[0]["key"] == "mild"


@pytest.mark.parametrize(
    ("pads", "why"),
    [
        ([(2, 8), (9.5, 15.5)], None),
        ([(2, 8), (7.9, 15.5)], {"n": 1, "why": "over"}),
        ([(2, 2.4)], {"n": 0, "why": "order"}),
        ([(-0.1, 5)], {"n": 0, "why": "out"}),
        ([(2, 8), (70, 75.1)], {"n": 1, "why": "out"}),
    ],
)
def test_pads_that_do_not_fit_are_seen(rules, pads, why):
    assert rules("misfit", [{"start": start, "end": end} for start, end in pads], 75) == why


def test_an_edge_stays_between_its_neighbours(rules):
    pads = [{"start": 2, "end": 8}, {"start": 9.5, "end": 15.5}]
    assert rules("pulled", pads, 0, "end", 20, 75) == 9.5
    assert rules("pulled", pads, 0, "end", 1, 75) == 2.5
    assert rules("pulled", pads, 1, "start", 3, 75) == 8
    assert rules("pulled", pads, 1, "end", 99, 75) == 75
    assert rules("pulled", pads, 1, "end", 16.234, 75) == 16.2


def test_the_map_from_the_photo_to_the_strip_is_the_affine_one(rules):
    """Against OpenCV's affine map through three corners of a strip turned and seen from the side, but not in depth."""
    length, width = 75.0, 6.0
    along, across, corner = np.array([9.0, 2.0]), np.array([-1.5, 7.0]), np.array([300.0, 400.0])
    mm = np.array([[0, 0], [length, 0], [length, width], [0, width]])
    px = corner + mm[:, :1] * along + mm[:, 1:] * across
    wanted = cv2.getAffineTransform(px[:3].astype(np.float32), mm[:3].astype(np.float32))
    a, b, c, d, e, f = rules("toStrip", px.tolist(), length, width)
    np.testing.assert_allclose([[a, c, e], [b, d, f]], wanted, rtol=1e-4, atol=1e-4)


def test_fields_of_a_chart_lie_between_its_corners_as_a_camera_sees_them(rules):
    """Against OpenCV's own perspective transform of the same corners."""
    corners = [[0.21, 0.35], [0.83, 0.31], [0.78, 0.62], [0.25, 0.58]]
    phs, pads = [0.0, 3.0, 6.0, 7.0, 14.0], 4
    square = np.array([[0, 0], [4, 0], [4, 3], [0, 3]], np.float32)
    matrix = cv2.getPerspectiveTransform(square, np.array(corners, np.float32))
    found = rules("chartPlaces", phs, pads, corners)
    assert [(f["ph"], f["pad"]) for f in found] == [(ph, pad) for ph in phs for pad in range(pads)]
    grid = np.array([[[n, pad]] for n in range(5) for pad in range(pads)], np.float64)
    seen = np.array([[f["across"], f["down"]] for f in found])
    assert seen == pytest.approx(cv2.perspectiveTransform(grid, matrix)[:, 0], abs=2e-5)
    one = rules("chartPlaces", [4, 6, 9], 1, corners[:2])  # a single pad: along a line
    assert [f["across"] for f in one] == pytest.approx([0.21, 0.52, 0.83])
    assert rules("chartPlaces", [7], 1, corners[:2])[0]["down"] == 0.35
    assert all(0 <= f["across"] <= 1 for f in rules("chartPlaces", phs, pads, [[0, 0], [0, 0], [0, 0], [0, 0]]))
