"""Where a solid lies: pale heaps with few dark specks, and the hull of the gaps of a heap nearly all pale."""

from types import SimpleNamespace

import numpy as np
import pytest

from stripread.card.layout import layout
from stripread.solid import outline as stage
from stripread.solid.read import trace_solid
from tests.scenes import render
from tests.scenes.solid import true_share, with_solid
from tests.tint_cases import any_heap

PPM = 10.0
WINDOW = layout().windows["sample"]
Y, X = np.mgrid[0:320, 0:320] / PPM - 16.0
PLACES = np.stack([X + WINDOW.centre_mm[0], Y + WINDOW.centre_mm[1]], axis=-1)
AWAY = np.hypot(X, Y)


@pytest.fixture(autouse=True)
def no_vessel(monkeypatch):
    monkeypatch.setattr(stage, "_vessel", lambda view, window, places: np.zeros(places.shape[:2], np.uint8))


def outlined(grey):
    """Area of the solid in square mm for a picture of light (h, w) relative to paper."""
    light = np.repeat(grey.astype(np.float32)[..., None], 3, axis=2)
    found = stage.outline(SimpleNamespace(px_per_mm=PPM), WINDOW, light, PLACES)
    return float(found.sum()) / PPM**2


SPECK = np.hypot(X - 3, Y) < 1.2


def test_a_dark_speck_in_a_pale_heap_is_not_the_heap():
    pale = np.where(AWAY < 9.0, 0.85, 1.0)
    assert outlined(np.where(SPECK, 0.06, pale)) == pytest.approx(np.pi * 81, rel=0.05)


def test_a_speck_alone_or_beside_a_smaller_heap_stays_what_it_is(monkeypatch):
    print_seen = np.where(np.abs(AWAY - 7.0) < 0.2, 0.4, 1.0)  # bare paper and its printed ring
    assert outlined(np.where(SPECK, 0.06, print_seen)) == pytest.approx(np.pi * 1.44, rel=0.3)
    monkeypatch.setattr(stage, "_pale", lambda *_: np.zeros(AWAY.shape, np.uint8))
    assert outlined(np.where(SPECK, 0.06, 1.0)) == pytest.approx(np.pi * 1.44, rel=0.3)


def gaps(level):
    """A white heap of 9 mm with gaps every 1.5 mm, of this level but for some near its middle, which are dark."""
    gap = (np.abs(X % 1.5 - 0.75) < 0.3) & (np.abs(Y % 1.5 - 0.75) < 0.3) & (AWAY < 9.0)
    return np.where(gap, np.where(AWAY < 5.0, 0.03, level), 1.0)


def test_the_darkest_gaps_of_a_pale_heap_are_not_where_it_ends():
    assert outlined(gaps(0.3)) == pytest.approx(np.pi * 81, rel=0.1)
    assert outlined(gaps(0.9)) < np.pi * 30  # nothing but the dark is seen


def test_a_wall_or_few_specks_are_no_gaps():
    near, thin = AWAY < 14.0, 9
    wall = np.where(np.abs(AWAY - 11.0) < 0.6, 0.5, 1.0).astype(np.float32)
    assert not stage._gaps(wall, near, thin).any()
    grey = gaps(0.3).astype(np.float32)
    assert stage._gaps(np.minimum(grey, wall), near, thin).sum() == stage._gaps(grey, near, thin).sum() > 0
    assert not stage._gaps(np.where(AWAY < 2.5, grey, 1.0).astype(np.float32), near, thin).any()


def test_a_heap_nearly_all_pale_is_outlined_whole(monkeypatch):
    monkeypatch.undo()
    scene, solid = any_heap("three", 9007)
    trace = trace_solid(render(with_solid(scene, solid)).data)
    assert trace.sample.whole_mm2 > 0.8 * np.pi * solid.radius_mm**2
    low, high = trace.reading.pale_interval
    assert low <= true_share(solid) <= high
