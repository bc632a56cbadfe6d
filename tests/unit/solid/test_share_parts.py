"""How well a pale share is known, on areas small enough to be worked out by hand."""

import numpy as np
import pytest
from scipy.stats import gamma

from stripread.solid.share import BLOCKS_MM, EDGE_SD, FALSE_PALE, MIXED, SPECK_SD, mixed_doubt, scatter, share_interval


def _f(*values):
    return np.array(values, np.float32)


def test_only_mixed_pixels_are_doubted():
    low, high = MIXED
    inside, outside = low + 0.01, high + 0.01
    # One mixed pixel of four, 0.5 of 1.5 in all: a third are specks.
    sd = np.hypot(0.08, EDGE_SD + (SPECK_SD - EDGE_SD) / 3)
    assert mixed_doubt(_f(0, 0, 1, 0.5), 0.08) == pytest.approx(0.5 / 4 * sd)
    assert mixed_doubt(_f(0, 0, 1, outside), 0.08) == 0.0
    assert mixed_doubt(_f(0, 0, 1, low - 0.01), 0.08) == 0.0
    assert mixed_doubt(_f(0, 0, 0, inside), 0.08) == pytest.approx(inside / 4 * np.hypot(0.08, SPECK_SD), rel=1e-5)


def test_no_pixel_and_nothing_pale():
    assert mixed_doubt(_f(), 0.08) == 0.0
    assert mixed_doubt(_f(0, 0, 0), 0.08) == 0.0


def _halves(h, w, size):
    """Blocks of 0 and 1 in turn."""
    rows, cols = np.indices((h, w)) // size
    return ((rows + cols) % 2).astype(np.float32)


def test_scatter_by_hand():
    # 12 x 12 at 1 px/mm: blocks of 2 px (1.5 mm), 3 and 5. Of 36 blocks of 2 half are 1: 0.25 x 36/35, over 36, and
    # 2/36 more; of 16 blocks of 3 and 4 blocks of 5 (too few, left out) in the same way.
    share = _halves(12, 12, 2)
    mask = np.ones((12, 12), bool)
    two = 0.25 * 36 / 35 / 36 * (1 + 2 / 36)
    blocks = share.reshape(4, 3, 4, 3).mean(axis=(1, 3))
    three = blocks.var(ddof=1) / 16 * (1 + 2 / 16)
    assert scatter(share, mask, 1.0) == pytest.approx((two + three) / 2, rel=1e-5)


def test_blocks_at_the_rim_count_where_more_than_half_is_inside():
    # 4 x 10 at 0.4 px/mm: blocks of 2 px at all three sizes, ten of them; the mask takes away the last columns.
    share = _halves(4, 10, 2)
    mask = np.ones((4, 10), bool)
    assert scatter(share, mask, 0.4) == pytest.approx(0.25 * 10 / 9 / 10 * 1.2, rel=1e-5)
    half = mask.copy()
    half[:, 9] = False  # just half of the last two blocks
    assert scatter(share, half, 0.4) == pytest.approx(0.25 * 8 / 7 / 8 * 1.25, rel=1e-5)
    more = mask.copy()
    more[0, 9] = more[2, 9] = False  # three quarters are inside, the mean is of those
    assert scatter(share, more, 0.4) == pytest.approx(0.25 * 10 / 9 / 10 * 1.2, rel=1e-5)


def test_too_small_an_area_tells_no_scatter():
    share = _halves(4, 6, 2)
    assert scatter(share, np.ones((4, 6), bool), 0.4) == pytest.approx(0.25 * 6 / 5 / 6 * (1 + 2 / 6), rel=1e-5)
    five = np.ones((4, 6), bool)
    five[2:, 4:] = False
    assert scatter(share, five, 0.4) == 0.0
    for shape in ((1, 40), (40, 1)):
        assert scatter(np.ones(shape, np.float32), np.ones(shape, bool), 1.0) == 0.0


def test_what_lies_outside_does_not_count():
    share = _halves(4, 12, 2)
    inside = np.ones((4, 12), bool)
    inside[:, 10:] = False
    loud = share.copy()
    loud[:, 10:] = 99.0
    assert scatter(loud, inside, 0.4) == pytest.approx(scatter(share, inside, 0.4))


def test_blocks_go_by_millimetres():
    share = np.random.default_rng(1).random((120, 120)).astype(np.float32)
    expected = []
    for mm in BLOCKS_MM:
        size = round(4.0 * mm)
        n = 120 // size
        means = share[: n * size, : n * size].reshape(n, size, n, size).mean(axis=(1, 3))
        expected.append(means.var(ddof=1) / n**2 * (1 + 2 / n**2))
    assert BLOCKS_MM == (1.5, 3.0, 5.0)
    assert scatter(share, np.ones((120, 120), bool), 4.0) == pytest.approx(np.mean(expected), rel=1e-4)


def test_an_interval_in_closed_form():
    # From 30 % on normal, 1.96 sd to each side; below it the sum of grains, a gamma of the same mean and sd.
    assert share_interval(0.31, 0.02) == pytest.approx((0.31 - 0.0392, 0.31 + 0.0392), abs=1e-5)
    law = gamma((0.3 / 0.02) ** 2, scale=0.02**2 / 0.3)
    assert share_interval(0.3, 0.02) == pytest.approx((law.ppf(0.025), law.ppf(0.975)), abs=1e-6)
    assert share_interval(0.35, 0.3)[0] == 0.0
    assert share_interval(0.9, 0.3)[1] == 1.0
    assert share_interval(0.28, 0.5)[1] == 1.0


def test_what_texture_may_feign_counts_below_a_quarter():
    # All of it at nothing, a fifth of it at 20 %, none from 25 % on.
    sd = np.hypot(0.001, 0.2 * FALSE_PALE)
    law = gamma((0.2 / sd) ** 2, scale=sd**2 / 0.2)
    assert share_interval(0.2, 0.001) == pytest.approx((law.ppf(0.025), law.ppf(0.975)), rel=1e-6)
    law = gamma((0.26 / 0.001) ** 2, scale=0.001**2 / 0.26)
    assert share_interval(0.26, 0.001) == pytest.approx((law.ppf(0.025), law.ppf(0.975)), rel=1e-6)
    at = 1.96 * FALSE_PALE / (1 + 4 * 1.96 * FALSE_PALE)  # where the share is just what may be feigned
    low, high = share_interval(0.99 * at, 0.0)
    assert low == 0.0
    assert high == pytest.approx(0.99 * at + 1.96 * FALSE_PALE * (1 - 4 * 0.99 * at), rel=1e-4)
    assert share_interval(1.01 * at, 0.0)[0] > 0.0


def test_a_share_is_never_known_to_the_last_digit():
    low, high = share_interval(0.5, 0.0)
    assert high - low == pytest.approx(2 * 1.96e-5, rel=1e-3)
