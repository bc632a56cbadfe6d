"""The doubt of a dye's colour that no patch of ink can show."""

import numpy as np
import pytest

from stripread.correction.dyes import CHANNEL_SHARED, channel_cov, dark_cov


def sd(cov, pad=0):
    return np.sqrt(np.diag(cov))[3 * pad : 3 * pad + 3]


def test_bare_paper_has_no_dye_to_doubt():
    assert sd(channel_cov(np.array([[1.0, 1.0, 1.0]]))) == pytest.approx([0, 0, 0], abs=1e-9)


def test_doubt_grows_with_the_depth_of_the_dye():
    pale, deep = np.array([[0.8, 0.9, 0.9]]), np.array([[0.4, 0.8, 0.8]])
    assert sd(channel_cov(deep))[1] > 1.5 * sd(channel_cov(pale))[1]


def test_what_absorbs_red_is_doubted_from_red_to_green_and_what_absorbs_blue_from_blue_to_yellow():
    cyan, yellow = channel_cov(np.array([[0.3, 1.0, 1.0]])), channel_cov(np.array([[1.0, 1.0, 0.3]]))
    assert sd(cyan)[1] > 5.0 * sd(yellow)[1]
    assert sd(yellow)[2] > sd(cyan)[2]


def test_pads_of_one_strip_err_alike():
    cov = channel_cov(np.array([[0.3, 0.8, 0.8], [0.3, 0.8, 0.8]]))
    assert cov[:3, 3:] == pytest.approx(CHANNEL_SHARED * cov[:3, :3])
    assert np.linalg.eigvalsh(cov).min() > -1e-9


def test_a_channel_that_the_phone_wrote_as_zero_is_open():
    seen = dark_cov(np.array([[0.5, 0.4, 0.01]]), np.array([[0.7, 0.6, 0.1]]))
    cut = dark_cov(np.array([[0.5, 0.4, 0.01]]), np.array([[0.7, 0.6, 0.0]]))
    assert sd(cut)[2] > 5.0 * sd(seen)[2]
