"""The calibrated curve's covariance against curves and photos drawn as the model says they come about."""

from dataclasses import dataclass

import numpy as np
import pytest

from calibration.process import Observed, Posterior, Sizes
from tests.unit.sizes.montecarlo import assert_covariance

CHANNELS = np.array([0.8, 1.0, 1.25])  # relative sizes in L, a, b
LENGTH, MISSED, COMMON, OWN, NOISE = 1.2, 1.5, 1.1, 0.6, 0.4


@dataclass(frozen=True)
class Flat:
    """Two pads of one colour at every pH, with one parameter that moves a pad's L by 2 in one prior deviation."""

    way: float = 2.0

    def lab(self, ph):
        return np.tile([[50.0, 10.0, 20.0], [60.0, -10.0, 5.0]], (len(ph), 1, 1))

    def features(self, ph):
        return [np.tile(np.array([[self.way], [0.0], [0.0]]), (len(ph), 1, 1))] * 2

    def offset(self):
        return [np.zeros(1)] * 2

    def beyond(self, ph):
        return np.zeros(len(ph))


@pytest.mark.parametrize("buffers", [[3.0, 5.0, 7.0], [3.0, 3.0, 4.0, 4.0, 5.0, 5.0, 6.0, 6.0, 7.0, 7.0]])
def test_the_curve_is_off_by_what_its_points_leave_open(buffers):
    """At a pH between the buffers, beside them and 2 pH beyond: 1200 curves and as many sets of photos.

    A flat curve is missed by half of the size, as the model has it; a steep one by more.
    """
    rng = np.random.default_rng(1)
    ph, at = np.array(buffers), np.array([4.5, 7.0, 9.0])
    n = len(ph)
    every = np.concatenate([ph, at])
    kernel = np.exp(-0.5 * (every[:, None] - every) ** 2 / LENGTH**2)
    root = np.linalg.cholesky(kernel + 1e-9 * np.eye(len(every)))
    off = []
    for _ in range(1200):
        missed = 0.5 * MISSED * CHANNELS * np.einsum("ij,jpc->ipc", root, rng.normal(size=(len(every), 2, 3)))
        true = Flat().lab(every) + missed
        true[:, :, 0] += 2.0 * rng.normal(size=2)
        photos = true[:n] + CHANNELS * (COMMON * rng.normal(size=(n, 1, 3)) + OWN * rng.normal(size=(n, 2, 3)))
        photos += NOISE * rng.normal(size=photos.shape)
        group = np.unique(ph, return_inverse=True)[1].astype(np.int64)
        cov = np.tile(NOISE**2 * np.eye(6), (n, 1, 1))
        seen = Observed(ph, photos.reshape(n, 6), cov, np.zeros(n), group, 2)
        posterior = Posterior(seen, Flat(), Sizes(COMMON, OWN, MISSED, LENGTH))
        off.append(posterior.curve(at) - true[n:])
    claimed = posterior.cov(at)  # the same for every draw: a normal posterior's covariance knows no values
    for k in range(len(at)):
        assert_covariance(claimed[k], np.array(off)[:, k].reshape(-1, 6))
