"""The bell against scipy's normal density, and its two forms against each other."""

import numpy as np
from scipy.stats import norm

from stripread.gauss import gaussian, gaussian_between


def test_bell_is_the_normal_density_over_its_peak():
    distance = np.linspace(-4.0, 4.0, 33)
    wanted = norm.pdf(distance, scale=1.7) / norm.pdf(0.0, scale=1.7)
    np.testing.assert_allclose(gaussian(distance, 1.7), wanted, rtol=1e-12)


def test_points_and_lines_are_taken_pair_by_pair():
    rng = np.random.default_rng(5)
    one, other = rng.normal(0, 30, (4, 3)), rng.normal(0, 30, (6, 3))
    apart = np.linalg.norm(one[:, None] - other[None], axis=2)
    np.testing.assert_allclose(gaussian_between(one, other, 40.0), gaussian(apart, 40.0), rtol=1e-9)
    ph = np.array([2.0, 4.0, 7.0])
    np.testing.assert_allclose(gaussian_between(ph, ph[:2], 1.2), gaussian(ph[:, None] - ph[None, :2], 1.2), rtol=1e-12)
