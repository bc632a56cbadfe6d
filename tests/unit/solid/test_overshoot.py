"""How far sharpening lifts specks, as the card's black squares show it: rendered with and without, and by hand."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from stripread.card.layout import layout
from stripread.card.view import MARGIN_MM, CardView
from stripread.solid.grey import SURELY_PALE, perhaps_silver, surely_pale
from stripread.solid.overshoot import lifted, overshoot, unlifted

PPM = 8.0


def card(amount, blur_px=3.0):
    """A card of white paper and the markers' black squares, blurred a little and sharpened by so much."""
    lay = layout()
    columns, rows = (int(np.ceil((side + 2 * MARGIN_MM) * PPM)) for side in lay.size_mm)
    encoded = np.full((rows, columns), 200.0, np.float32)
    for marker in lay.markers:
        low, high = (np.rint((np.array(marker.corners_mm[n]) + MARGIN_MM) * PPM).astype(int) for n in (0, 2))
        encoded[low[1] : high[1], low[0] : high[0]] = 40.0
    encoded = cv2.GaussianBlur(encoded, (0, 0), 0.5)
    encoded += amount * (encoded - cv2.GaussianBlur(encoded, (0, 0), blur_px))
    rgb = np.repeat(np.clip(encoded, 0, 255).astype(np.uint8)[..., None], 3, axis=2)
    return CardView(rgb, PPM, MARGIN_MM, np.ones(rgb.shape[:2], bool), 0.1, 1.0)


def test_an_edge_shows_a_third_to_a_half_of_the_sharpening():
    assert overshoot(card(0.0), layout()) == pytest.approx(0.0, abs=0.01)
    assert 0.3 * 0.4 - 0.02 < overshoot(card(0.4), layout()) < 0.5 * 0.4
    assert 0.3 * 0.8 - 0.02 < overshoot(card(0.8), layout()) < 0.5 * 0.8
    out_of_sight = replace(card(0.4), inside=np.zeros(card(0.4).inside.shape, bool))
    assert overshoot(out_of_sight, layout()) == 0.0


def test_a_speck_is_lifted_by_all_of_it():
    assert lifted(0.5, 0.06, 0.0) == pytest.approx(0.5, abs=1e-6)
    encoded = np.full((61, 61), 0.3, np.float32)
    encoded[30, 30] = 0.7
    sharpened = encoded + 0.4 * (encoded - cv2.GaussianBlur(encoded, (0, 0), 4.0))
    told = lifted(0.448, 0.073, 0.2)  # 0.7 and 0.3 as light
    assert told == pytest.approx(((float(sharpened[30, 30]) + 0.055) / 1.055) ** 2.4, rel=0.03)
    assert surely_pale(0.06, 0.0) == pytest.approx(SURELY_PALE)
    assert surely_pale(0.06, 0.15) > 0.8


def test_grains_no_lighter_than_lifted_silver_may_be_silver():
    grey = np.full((60, 60), 0.06, np.float32)
    grey[10:30, 10:30] = 0.7
    mask, share = np.ones((60, 60), bool), ((grey - 0.06) / 0.64).astype(np.float32)
    assert perhaps_silver(grey, mask, share, (0.06, 0.7)) < 0.2
    assert perhaps_silver(grey, mask, share, (0.06, 0.7), sure=0.69) < 0.2
    assert perhaps_silver(grey, mask, share, (0.06, 0.7), sure=0.71) == 1.0


def test_specks_may_be_less_than_they_seem_and_cores_are_not():
    mask = np.ones((60, 60), bool)
    broad = np.zeros((60, 60), np.float32)
    broad[10:50, 10:50] = 1.0
    specks = np.zeros((60, 60), np.float32)
    specks[::4, ::4] = 1.0
    levels = (0.06, 0.8)
    more = (lifted(0.8, 0.06, 0.15) - 0.06) / 0.74
    assert unlifted(specks, mask, levels, 0.15) == pytest.approx(specks.mean() / more)
    core = 36 * 36 / 3600
    assert unlifted(broad, mask, levels, 0.15) == pytest.approx(core + (broad.mean() - core) / more)
    assert unlifted(specks, mask, levels, 0.0) == pytest.approx(specks.mean())
