"""Edges on made-up profiles whose edges are known: where they are put, and how sure that is said to be."""

import numpy as np
import pytest
from scipy.special import ndtr

from stripread.describe.edges import NOWHERE_MM, fit_edges

X = np.arange(-8.0, 40.0, 1 / 3)


def profile(edges, levels, *, blur=0.2, noise=0.002, shadow=0.0, seed=0):
    """Light (N, 3) of pieces with these levels, and contact shadows before the first and after the last edge."""
    rng = np.random.default_rng(seed)
    light = np.full((len(X), 3), levels[0], dtype=float)
    for at, before, after in zip(edges, levels, levels[1:], strict=False):
        light += (np.array(after) - np.array(before)) * ndtr((X[:, None] - at) / blur)
    for outside in (edges[0] - X, X - edges[-1]):
        light -= shadow * np.where(outside > 0, np.exp(-np.abs(outside) / 0.3), 0.0)[:, None]
    return light + rng.normal(0, noise, light.shape)


PAPER, WHITE, RED, PALE = [1.0] * 3, [0.93, 0.94, 0.9], [0.8, 0.3, 0.3], [0.9, 0.92, 0.9]
EDGES = [1.13, 3.41, 9.27, 11.6, 17.02, 32.5]
LEVELS = [PAPER, WHITE, RED, WHITE, PALE, WHITE, PAPER]


@pytest.mark.parametrize("blur", [0.15, 0.3, 0.6])
def test_edges_are_found_to_a_tenth_of_a_millimetre(blur):
    start = np.array(EDGES) + np.array([0.3, -0.2, 0.3, -0.3, 0.2, -0.3])
    fit = fit_edges(X, profile(EDGES, LEVELS, blur=blur), start, [[1, 3, 5]], blur)
    off = np.abs(fit.at - EDGES)
    assert off[[1, 2, 5]].max() < 0.05
    assert off.max() < 0.2
    assert (off < 4.0 * fit.sd + 0.03).all()
    np.testing.assert_allclose(fit.level[2], RED, atol=0.02)


def test_blur_mixes_light_not_its_logarithm():
    """Half of the light has changed at the edge of a dark pad, where its logarithm has hardly begun to."""
    dark = [0.05] * 3
    edges = [2.0, 12.0]
    fit = fit_edges(X, profile(edges, [PAPER, dark, PAPER], blur=0.6), np.array([2.3, 11.7]), [], 0.6)
    np.testing.assert_allclose(fit.at, edges, atol=0.03)


def test_a_contact_shadow_is_not_part_of_the_strip():
    """White on white: the shadow is all that shows where the strip ends."""
    white = [0.99] * 3
    edges = [2.0, 30.0]
    fit = fit_edges(X, profile(edges, [PAPER, white, PAPER], shadow=0.08), np.array([1.4, 30.7]), [], 0.2)
    np.testing.assert_allclose(fit.at, edges, atol=0.25)
    assert (fit.shadow < -0.03).all()
    assert fit.sd[0] > 0.02


def test_an_edge_that_nothing_shows_is_unsure():
    fit = fit_edges(X, profile([2.0, 12.0, 20.0], [PAPER, RED, RED, PAPER]), np.array([2.1, 12.0, 20.1]), [], 0.2)
    assert fit.sd[1] > 1.0
    assert fit.sd[[0, 2]].max() < 0.2
    assert fit.sd.max() <= NOWHERE_MM


def test_noise_makes_edges_less_sure():
    quiet, loud = (
        fit_edges(X, profile(EDGES, LEVELS, noise=noise), np.array(EDGES), [[1, 3, 5]], 0.2).sd
        for noise in (0.002, 0.03)
    )
    assert (loud[1:5] > 1.5 * quiet[1:5]).all()


def test_unknown_places_are_left_out():
    light = profile(EDGES, LEVELS)
    light[(X > 20.0) & (X < 24.0)] = np.nan
    fit = fit_edges(X, light, np.array(EDGES), [[1, 3, 5]], 0.2)
    assert np.abs(fit.at - EDGES).max() < 0.2
