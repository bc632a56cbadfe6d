"""Finding the markers: which, how exactly, and under what light, blur and hands."""

import numpy as np
import pytest

from stripread.card.layout import layout
from stripread.card.markers import find_markers
from tests.cardshots import Shot, as_photo, take

CORNERS = {m.id: np.array(m.corners_mm) for m in layout().markers}
TILTED = Shot(tilt=25, azimuth=50, roll=115, distance=280)


def errors_px(shot, sightings):
    """Distance of each corner from its true place, with each square's own growth (blur in encoded levels) taken off."""
    off = []
    for s in sightings:
        error = s.corners - shot.to_px(CORNERS[s.id])
        outward = s.corners - s.corners.mean(axis=0)
        outward /= np.linalg.norm(outward, axis=1, keepdims=True)
        off.append(error - np.mean(np.sum(error * outward, axis=1)) * outward)
    return np.concatenate(off)


@pytest.mark.parametrize(("roll", "limit"), [(37, 0.06), (0, 0.2), (90, 0.2), (180, 0.2), (270, 0.2)])
def test_all_six_to_a_small_part_of_a_pixel(roll, limit):
    # where edges run along the rows, the drawing itself snaps them to a quarter of a pixel
    shot = Shot(roll=roll, distance=260 if roll % 180 == 0 else 330)
    seen = find_markers(as_photo(take(shot)))
    assert sorted(s.id for s in seen) == sorted(CORNERS)
    assert np.sqrt(np.mean(np.sum(errors_px(shot, seen) ** 2, axis=1))) < limit


@pytest.mark.parametrize(
    "how",
    [
        {"gain": 0.03},
        {"gain": 2.5},
        {"noise": 12.0},
        {"blur_px": 2.5},
    ],
    ids=["dark", "overexposed", "noisy", "blurred"],
)
def test_all_six_in_poor_pictures(how):
    seen = find_markers(as_photo(take(TILTED, **how)))
    assert len(seen) == 6
    assert np.sqrt(np.mean(np.sum(errors_px(TILTED, seen) ** 2, axis=1))) < 0.35


def test_the_other_five_when_one_is_covered():
    seen = find_markers(as_photo(take(TILTED, covered_mm=CORNERS[7].mean(axis=0))))
    assert sorted(s.id for s in seen) == sorted(set(CORNERS) - {7})


def test_marker_missed_by_the_detector_is_found_where_it_must_be():
    """One marker's border is broken by a pen stroke: the detector no longer sees a square there."""
    picture = take(Shot())
    x, y = np.rint(Shot().to_px(CORNERS[44])).astype(int).mean(axis=0).astype(int)
    picture[y + 6 : y + 9, x - 40 : x + 60] = 245
    seen = {s.id: s for s in find_markers(as_photo(picture))}
    assert 44 in seen
    assert np.abs(seen[44].corners - Shot().to_px(CORNERS[44])).max() < 0.6


def test_edge_width_follows_the_blur():
    """A straight edge under a Gaussian blur of sd s runs from 10 to 90 % over 2.563 s (normal quantiles)."""
    shot = Shot(distance=230)
    for blur in (1.5, 2.5, 3.5):
        seen = find_markers(as_photo(take(shot, blur_px=blur, noise=1.0)))
        assert np.median([s.edge_px for s in seen]) == pytest.approx(2.563 * blur, rel=0.1)  # and its pixels'


def test_nothing_in_noise():
    noise = np.random.default_rng(5).integers(0, 256, (900, 1200, 3), dtype=np.uint8)
    assert len(find_markers(as_photo(noise))) <= 1
    assert find_markers(as_photo(np.full((900, 1200, 3), 120, np.uint8))) == ()
