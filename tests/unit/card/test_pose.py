"""The pose against a camera written down independently: places to a small part of a millimetre, and the refusals."""

import numpy as np
import pytest

from stripread.card.layout import layout
from stripread.card.markers import Sighting, find_markers
from stripread.card.pose import solve_pose
from stripread.errors import Refused
from tests.cardshots import Shot, as_photo, take

CARD = layout()
PATCH_CENTRES = np.array([[p.rect_mm[0] + 3.5, p.rect_mm[1] + 3.5] for p in CARD.patches])
EVERYWHERE = np.stack(np.meshgrid(np.linspace(0, 148, 12), np.linspace(0, 104, 9)), axis=-1).reshape(-1, 2)


def pose_of(shot, **how):
    photo = as_photo(take(shot, **how))
    return solve_pose(find_markers(photo), CARD, photo)


def exact_sightings(shot, ids=None):
    table = {m.id: np.array(m.corners_mm) for m in CARD.markers}
    return tuple(Sighting(i, shot.to_px(table[i]), 0.03, np.full(4, 2.0)) for i in (ids or table))


def errors_mm(pose, shot, points=PATCH_CENTRES):
    off_px = pose.to_px(points) - shot.to_px(points)
    return np.linalg.norm(np.linalg.solve(pose.jacobian(points), off_px[..., None])[..., 0], axis=1)


SHOTS = {
    "near": Shot(distance=215),
    "far": Shot(distance=450, size=(2016, 1512)),
    "tilt 35": Shot(distance=300, tilt=35, azimuth=40, roll=70),
    "tilt 35, upside down": Shot(distance=300, tilt=35, azimuth=140, roll=170, distortion=0.02),
    "curled along": Shot(distance=260, tilt=20, azimuth=140, roll=10, sag_x=4.0),
    "curled across": Shot(distance=280, tilt=30, azimuth=90, sag_y=-3.0, distortion=-0.02),
    "one megapixel": Shot(size=(1152, 864), distance=300, tilt=15, azimuth=200),
}


@pytest.mark.parametrize("name", SHOTS)
def test_places_on_the_card(name):
    shot = SHOTS[name]
    pose = pose_of(shot)
    assert np.sqrt(np.mean(errors_mm(pose, shot) ** 2)) < 0.06
    assert errors_mm(pose, shot, EVERYWHERE).max() < 0.15


@pytest.mark.parametrize("covered", [[7], [44], [18], [38], [7, 18], [25, 31]])
def test_covered_markers(covered):
    shot = Shot(distance=270, tilt=25, azimuth=60, roll=20, sag_x=1.0)
    photo = as_photo(take(shot))
    left = tuple(s for s in find_markers(photo) if s.id not in covered)
    assert np.sqrt(np.mean(errors_mm(solve_pose(left, CARD, photo), shot) ** 2)) < 0.15


def test_there_and_back():
    pose = pose_of(SHOTS["curled along"])
    assert np.abs(pose.to_mm(pose.to_px(EVERYWHERE)) - EVERYWHERE).max() < 1e-6


def test_jacobian_is_the_slope_of_the_map():
    pose = pose_of(SHOTS["curled across"])
    step = np.array([1e-4, 0.0])
    numeric = (pose.to_px(EVERYWHERE + step) - pose.to_px(EVERYWHERE - step)) / 2e-4
    assert np.abs(pose.jacobian(EVERYWHERE)[..., 0] - numeric).max() < 0.02


def test_summary_numbers():
    shot = Shot(distance=300, tilt=30, azimuth=0, roll=40)
    pose = pose_of(shot)
    assert pose.tilt_deg == pytest.approx(30, abs=0.2)
    # pinhole: focal length over distance along the axis, shortened by the tilt in one direction
    assert pose.px_per_mm == pytest.approx(0.75 * 1600 / 300 * np.sqrt(np.cos(np.radians(30))), rel=0.002)


def test_wrong_ids_and_a_second_card_fall_out():
    shot = Shot(distance=420, shift=(-60, 0))
    other = Shot(distance=420, shift=(160, 0))
    photo = as_photo(np.zeros((1200, 1600, 3), np.uint8))
    wrong = Sighting(38, shot.to_px(np.array([[30, 30], [45, 30], [45, 45], [30, 45]])), 0.05, np.full(4, 2.0))
    pose = solve_pose((wrong, *exact_sightings(other, [7, 18, 31]), *exact_sightings(shot)), CARD, photo)
    assert errors_mm(pose, shot).max() < 0.05


def refusal(sightings, size=(1600, 1200)):
    with pytest.raises(Refused) as caught:
        solve_pose(sightings, CARD, as_photo(np.zeros((size[1], size[0], 3), np.uint8)))
    return caught.value.reason.code


def test_refusals():
    shot = Shot(distance=300)
    assert refusal(()) == "no_card"
    assert refusal(exact_sightings(shot, [7])) == "card_cut_off"
    assert refusal(exact_sightings(shot, [7, 18])) == "card_cut_off"
    assert refusal(exact_sightings(Shot(distance=950))) == "too_small"
    mirrored = tuple(Sighting(s.id, s.corners * [-1, 1] + [1599, 0], 0.05, s.edge_px) for s in exact_sightings(shot))
    assert refusal(mirrored) == "no_card"
    blurred = tuple(Sighting(s.id, s.corners, 0.5, np.full(4, 12.0)) for s in exact_sightings(shot, [7]))
    assert refusal(blurred) == "blurred"


@pytest.mark.parametrize("shift", [(110, 0), (-115, 0), (0, -80), (0, 85)])
def test_card_cut_off(shift):
    shot = Shot(distance=230, shift=shift)
    photo = as_photo(take(shot))
    with pytest.raises(Refused) as caught:
        solve_pose(find_markers(photo), CARD, photo)
    assert caught.value.reason.code == "card_cut_off"


def test_one_corner_outside_is_read():
    shot = Shot(distance=235, roll=12, shift=(10, 58))
    outside = (shot.to_px(EVERYWHERE) > [1599, 1199]).any(axis=1) | (shot.to_px(EVERYWHERE) < 0).any(axis=1)
    assert 0 < outside.mean() < 0.1
    assert errors_mm(pose_of(shot), shot).max() < 0.1
