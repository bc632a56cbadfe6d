"""What the colour fit leaves over: learned from patches, and doubted where patches of that colour miss most."""

import numpy as np
import pytest

from stripread.correction.residual import NUGGET_FLOOR, fit_residual


def patches(seed=0, n=60):
    rng = np.random.default_rng(seed)
    return np.column_stack([rng.uniform(25, 95, n), rng.uniform(-60, 60, n), rng.uniform(-60, 60, n)]), rng


def test_colours_whose_patches_miss_more_are_doubted_more():
    lab, rng = patches()
    green = lab[:, 1] < 0
    miss = rng.normal(size=lab.shape) * np.where(green, 6.0, 0.4)[:, None]
    model = fit_residual(lab, miss, np.ones(len(lab), bool))
    _, cov = model.at(np.array([[60.0, -45.0, 10.0], [60.0, 45.0, 10.0]]))
    sd = np.sqrt(np.diag(cov)).reshape(2, 3)
    assert (sd[0] > 1.5 * sd[1]).all()
    assert (sd[1] > NUGGET_FLOOR).all()


def test_a_smooth_miss_is_learned_and_taken_off():
    lab, _ = patches(1)
    miss = np.column_stack([0.02 * (lab[:, 0] - 60), 0.03 * lab[:, 1] + 1.0, 0.02 * lab[:, 2]])
    model = fit_residual(lab, miss, np.ones(len(lab), bool))
    shift, cov = model.at(np.array([[55.0, 20.0, -20.0]]))
    assert shift[0] == pytest.approx([-0.1, 1.6, -0.4], abs=0.2)
    assert model.rms_cv < 0.5 * model.tried["none"]
    assert np.linalg.eigvalsh(cov).min() > 0


def test_pads_of_like_colour_share_a_part_of_their_doubt():
    lab, rng = patches(2)
    model = fit_residual(lab, rng.normal(size=lab.shape), np.ones(len(lab), bool))
    _, cov = model.at(np.array([[60.0, 0.0, 0.0], [60.0, 3.0, 0.0], [60.0, 0.0, 95.0]]))
    cov = cov.reshape(3, 3, 3, 3)
    near, far = cov[0, 1, 1, 1], cov[0, 1, 2, 1]
    assert near > 3.0 * abs(far) > 0.0
