"""The rectified card: where things lie in it, its colours, what is outside, and the verdict on sharpness."""

import numpy as np
import pytest

from stripread.card.layout import layout
from stripread.card.markers import find_markers
from stripread.card.pose import solve_pose
from stripread.card.view import MAX_PX_PER_MM, card_view, check_sharp
from stripread.errors import Refused
from tests.cardshots import Shot, as_photo, take

CARD = layout()


def view_of(shot, **how):
    photo = as_photo(take(shot, **how))
    return card_view(photo, solve_pose(find_markers(photo), CARD, photo))


@pytest.mark.parametrize(
    "shot",
    [
        Shot(distance=230),
        Shot(distance=300, tilt=35, azimuth=40, roll=250),
        Shot(distance=270, roll=180, sag_x=4.0, tilt=15),
        Shot(size=(3000, 2250), distance=200),
    ],
    ids=["straight", "tilted", "curled", "shrunk"],
)
def test_patches_lie_where_the_layout_says(shot):
    view = view_of(shot)
    assert view.px_per_mm <= MAX_PX_PER_MM
    assert view.inside.all()
    for patch in CARD.patches:
        x, y, w, h = patch.rect_mm
        block, _ = view.crop((x + 0.8, y + 0.8, w - 1.6, h - 1.6))
        assert np.abs(np.median(block.reshape(-1, 3), axis=0) - np.minimum(patch.srgb, 255)).max() < 8, patch.id


def test_edges_lie_where_the_layout_says():
    """The outer edge of a marker, found by the half-way crossing in light, to 0.1 mm."""
    view = view_of(Shot(distance=260, tilt=20, azimuth=100, roll=5))
    strip, (x0, _) = view.crop((0.5, 10.0, 8.0, 1.0))
    light = (strip[..., 1].astype(float).mean(axis=0) / 255) ** 2.2
    crossing = np.flatnonzero(light < 0.5 * light.max())[0]
    share = (light[crossing - 1] - 0.5 * light.max()) / (light[crossing - 1] - light[crossing])
    assert x0 + (crossing - 1 + share) / view.px_per_mm == pytest.approx(4.0, abs=0.1)


def test_millimetres_and_view_pixels():
    view = view_of(Shot(distance=260))
    points = np.array([[0.0, 0.0], [148.0, 104.0], [33.3, 71.0]])
    assert np.allclose(view.view_to_mm(view.mm_to_view(points)), points)
    block, (x, y) = view.crop((-100.0, -100.0, 400.0, 400.0))
    assert block.shape == view.rgb.shape
    assert (x, y) == pytest.approx((-8 + 0.5 / view.px_per_mm,) * 2)


def test_outside_is_marked():
    view = view_of(Shot(distance=235, roll=12, shift=(10, 58)))
    assert 0.8 < view.inside.mean() < 1
    low, high = view.mm_to_view(np.array([[23.0, 25.0], [125.0, 80.0]])).astype(int)
    assert view.inside[low[1] : high[1], low[0] : high[0]].all()


def test_shrinking_does_not_alias():
    """Noise of single pixels averages out when the view is coarser than the photo."""
    shot = Shot(size=(3000, 2250), distance=185)
    view = view_of(shot, noise=20.0)
    ratio = 0.75 * 3000 / 185 / view.px_per_mm
    assert ratio > 1.5
    white, _ = view.crop((24.5, 58.0, 6.0, 6.0))
    assert white.astype(float).std(axis=(0, 1)).max() < 20.0 / ratio * 1.3


@pytest.mark.parametrize("sd_mm", [0.1, 0.3, 0.5])
def test_sharp_enough(sd_mm):
    shot = Shot(distance=260)
    view = view_of(shot, blur_px=sd_mm * 0.75 * 1600 / 260)
    check_sharp(view)
    # the pixels of photo and view add to the width
    assert view.edge_mm == pytest.approx(2.563 * sd_mm, rel=0.13, abs=0.1)


@pytest.mark.parametrize("sd_mm", [1.2, 1.6, 2.5])
def test_blurred_is_refused(sd_mm):
    shot = Shot(distance=260)
    photo = as_photo(take(shot, blur_px=sd_mm * 0.75 * 1600 / 260))
    with pytest.raises(Refused) as caught:
        check_sharp(card_view(photo, solve_pose(find_markers(photo), CARD, photo)))
    assert caught.value.reason.code in ("blurred", "no_card")
