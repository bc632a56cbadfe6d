"""The capture assistant's judging, run by node on rendered frames: marks, sharpness, faults, the photo's moment."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from stripread.card.layout import DICTIONARY, layout
from tests.live.node import Assistant, reduced
from tests.live.streams import STREAM, faulty, sized
from tests.live.video import demo_scene
from tests.scenes.develop import develop
from tests.scenes.expose import expose
from tests.scenes.photo import camera_of, truth_of


@pytest.fixture(scope="module")
def assistant():
    try:
        running = Assistant()
    except FileNotFoundError:
        pytest.skip("node is not installed")
    with running:
        yield running


def picture(scene):
    return np.asarray(develop(expose(scene, camera_of(scene)), scene))


SCENE = sized(demo_scene(3.0), STREAM)


@pytest.fixture(scope="module")
def good():
    return picture(SCENE)


def test_marks_lie_where_they_are_and_where_opencv_finds_them(assistant):
    """Against the scene's truth, and OpenCV's own detector with the whole dictionary."""
    for turn in (2.0, 97.0, 185.0):
        scene = replace(SCENE, roll_deg=turn, tilt_deg=18.0, fill=0.75)
        grey = cv2.cvtColor(reduced(picture(scene)), cv2.COLOR_RGB2GRAY)
        found = {mark["id"]: np.array(mark["corners"]) for mark in assistant.marks(grey)["marks"]}
        truth = truth_of(scene, camera_of(scene)).marker_px
        assert found.keys() == truth.keys()
        scale = max(grey.shape) / STREAM
        for number, corners in truth.items():
            np.testing.assert_allclose(found[number], (corners + 0.5) * scale - 0.5, atol=0.9)
        detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, DICTIONARY)))
        corners, numbers, _ = detector.detectMarkers(grey)
        for number, theirs in zip(numbers.ravel().tolist(), corners, strict=True):
            np.testing.assert_allclose(found[number], theirs[0], atol=1.2)


def test_the_map_is_the_homography_of_all_corners(assistant, good):
    """Against OpenCV's least-squares homography of the same corners."""
    grey = cv2.cvtColor(reduced(good), cv2.COLOR_RGB2GRAY)
    card = assistant.marks(grey)["card"]
    table = {m.id: np.array(m.corners_mm) for m in layout().markers}
    on_card = np.concatenate([table[mark["id"]] for mark in card["marks"]])
    seen = np.concatenate([np.array(mark["corners"]) for mark in card["marks"]])
    theirs, _ = cv2.findHomography(on_card, seen)
    ours = np.array(card["map"]).reshape(3, 3)
    places = np.array([[[0.0, 0.0], [148.0, 0.0], [148.0, 104.0], [74.0, 37.0]]])
    np.testing.assert_allclose(
        cv2.perspectiveTransform(places, ours), cv2.perspectiveTransform(places, theirs), atol=0.15
    )


def test_a_mark_of_another_kind_is_none(assistant):
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, DICTIONARY))
    grey = np.full((300, 400), 220, np.uint8)
    for n, number in enumerate((7, 8, 19, 7)):
        mark = cv2.aruco.generateImageMarker(dictionary, number, 48)
        grey[60:108, 20 + 90 * n : 68 + 90 * n] = mark[:, ::-1] if n == 3 else mark  # the last one mirrored
    assert [mark["id"] for mark in assistant.marks(grey)["marks"]] == [7]


def test_planes_of_light_and_colour_give_the_same_picture(assistant):
    """Against OpenCV's conversion to I420, which is ITU-R BT.601 with 16 to 235."""
    down, across = np.mgrid[0:300, 0:400]
    rgb = np.dstack([across * 0.5 + 30, down * 0.6 + 40, 255 - across * 0.4]).clip(0, 255).astype(np.uint8)
    planes = cv2.cvtColor(rgb, cv2.COLOR_RGB2YUV_I420)
    about = {
        "light": {"offset": 0, "stride": 400},
        "blue": {"offset": 120_000, "stride": 200, "step": 1},
        "red": {"offset": 150_000, "stride": 200, "step": 1},
        "full": False,
        "hd": False,
    }
    head = {"does": "planes", "width": 400, "height": 300, "kind": about}
    told = assistant._ask(head, planes.tobytes())
    got = np.array(told["rgb"]).reshape(told["height"], told["width"], 3)
    assert np.abs(got.astype(int) - rgb)[2:-2, 2:-2].max() <= 4


def test_a_good_frame_has_nothing_wrong(assistant, good):
    told = assistant.look(good)
    assert told["code"] is None
    assert sorted(told["seen"]["ids"]) == [m.id for m in layout().markers]
    assert told["seen"]["tilt"] == pytest.approx(SCENE.tilt_deg, abs=4.0)
    for kind in ("tint", "solid"):
        assert assistant.look(good, kind=kind)["code"] is None


@pytest.mark.parametrize(
    ("fault", "codes"),
    [
        ("out", {"out", "near"}),
        ("far", {"far", "no_card"}),
        ("tilted", {"tilted"}),
        ("dark", {"dark"}),
        ("bright", {"bright"}),
        ("no_strip", {"no_strip"}),
        ("no_card", {"no_card"}),
    ],
)
def test_each_fault_is_named(assistant, fault, codes):
    for seed in (0, 1):
        told = assistant.look(picture(faulty(SCENE, fault, np.random.default_rng([seed, 77]))))
        assert told["code"] in codes, (seed, told)


def test_shine_and_a_shadows_edge_are_named(assistant):
    from tests.scenes.faults import glare, shadow_edge

    rng = np.random.default_rng(3)
    assert assistant.look(picture(glare(SCENE, rng)))["code"] == "shine"
    shaded = picture(shadow_edge(SCENE, rng))
    assert assistant.look(shaded)["code"] == "shadow"
    assert assistant.look(shaded, kind="solid")["code"] is None  # a heap in the window has no lane


def test_sharpness_is_that_of_the_full_frame(assistant, good):
    """A Gaussian's 10 to 90 % width is 2.563 of its deviation; phones sharpen."""
    sharp = assistant.look(good)["seen"]
    soft = assistant.look(cv2.GaussianBlur(good, (0, 0), 0.35 * sharp["pxPerMm"]))  # mm
    assert soft["code"] is None
    assert soft["seen"]["edge"] == pytest.approx(np.hypot(2.563 * 0.35, sharp["edge"]), rel=0.2)
    assert assistant.look(cv2.GaussianBlur(good, (0, 0), 0.6 * sharp["pxPerMm"]))["code"] == "blurred"
    way = np.zeros((15, 15), np.float32)
    way[7] = 1 / 15
    assert assistant.look(cv2.filter2D(good, -1, way))["code"] == "blurred"  # along one direction alone


def test_covered_corners_are_said_unless_it_is_one(assistant, good):
    grey = good.copy()
    height, width = grey.shape[:2]
    grey[: height // 3, : width // 3] = 120
    assert assistant.look(grey)["code"] in {None, "no_strip"}  # five marks are left
    grey[:, : width // 4] = 120
    grey[: height // 3] = 120
    assert assistant.look(grey)["code"] == "covered"


def steps(assistant, frames, **about):
    """Codes and readiness of (picture, ms) in turn."""
    assistant.begin()
    return [assistant.frame(frame, at, **about) for frame, at in frames]


def test_it_takes_the_photo_when_all_has_been_well_for_a_while(assistant, good):
    quick = steps(assistant, [(good, 60 * n) for n in range(14)])
    ready = [60 * n for n, told in enumerate(quick) if told["ready"]]
    assert 450 <= ready[0] - 60 <= 570  # the first frame has no speed yet
    slow = steps(assistant, [(good, 300 * n) for n in range(6)])
    assert [told["ready"] for told in slow].index(True) == 4  # four good frames, however slow


def test_it_waits_for_the_hand_and_for_the_clock(assistant, good):
    shifted = [np.roll(good, 30 * (n % 2), axis=1) for n in range(8)]
    shaken = steps(assistant, [(frame, 100 * n) for n, frame in enumerate(shifted)])
    assert not any(told["ready"] for told in shaken)
    assert {told["now"] for told in shaken} == {"moving"}
    waiting = steps(assistant, [(good, 100 * n) for n in range(12)], wait=True)
    assert not any(told["ready"] for told in waiting)
    assert waiting[-1]["code"] == "wait"
    assert steps(assistant, [(good, 100 * n) for n in range(12)], kind="tint", wait=True)[-1]["ready"]


def test_words_stand_before_they_are_shown_and_longer_before_they_are_spoken(assistant, good):
    empty = np.full_like(good, 128)
    seen = steps(assistant, [(empty if n in (7, 15) or n > 19 else good, 100 * n) for n in range(50)], wait=True)
    codes = [told["code"] for told in seen]
    assert codes[4:20] == ["wait"] * 16  # one lost frame is no message
    assert codes[23:] == ["no_card"] * 27  # after a quarter of a second
    spoken = [n for n, told in enumerate(seen) if told["spoken"] and n > 23]
    assert 37 <= spoken[0] <= 39
