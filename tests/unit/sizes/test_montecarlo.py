"""The measure itself: it passes draws of the claimed covariance and fails what is off."""

import numpy as np
import pytest

from tests.unit.sizes.montecarlo import assert_covariance, assert_share, assert_variance

ROOT = np.array([[1.0, 0.0, 0.0], [0.8, 0.5, 0.0], [0.1, -0.3, 0.02]])
COV = ROOT @ ROOT.T


def draws(seed, n=400):
    return np.random.default_rng(seed).normal(size=(n, 3)) @ ROOT.T


@pytest.mark.parametrize("seed", range(20))
def test_draws_of_the_claim_pass(seed):
    assert_covariance(COV, draws(seed))


@pytest.mark.parametrize(
    "claimed",
    [
        1.5 * COV,
        COV / 1.5,
        COV / 62.5e6,
        np.diag(np.diag(COV)),  # the variances alone, without what is shared
        COV + np.diag([0.0, 0.0, 0.02]),  # one direction that is known less well than said
    ],
)
def test_what_is_off_fails(claimed):
    with pytest.raises(AssertionError):
        assert_covariance(claimed, draws(1))


def test_a_direction_in_which_nothing_moves():
    flat = ROOT.copy()
    flat[:, 2] = 0.0
    flat[2] = 0.0
    still = np.random.default_rng(1).normal(size=(400, 3)) @ flat.T
    assert_covariance(flat @ flat.T, still)
    with pytest.raises(AssertionError, match="variance 2"):
        assert_covariance(flat @ flat.T, draws(1))


def test_variance_and_share():
    rng = np.random.default_rng(2)
    assert_variance(4.0, rng.normal(0, 2.0, 500))
    with pytest.raises(AssertionError):
        assert_variance(4.0, rng.normal(0, 2.6, 500))
    assert_share(rng.uniform(size=2000) < 0.95, 0.95)
    with pytest.raises(AssertionError):
        assert_share(rng.uniform(size=2000) < 0.91, 0.95)
