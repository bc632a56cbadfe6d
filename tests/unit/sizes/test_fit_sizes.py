"""The colour fit's covariances, each against draws of its own cause through the fit's own way to CIELAB.

The sizes of what is assumed of dyes stand here as figures of their own; see ``stripread/correction/dyes.py``.
"""

from dataclasses import replace

import numpy as np
import pytest

from stripread.card.values import CardValues
from stripread.colour import rgb_to_lab
from stripread.correction.dyes import channel_cov, dark_cov, moved_cov
from stripread.correction.fit import MODEL_SD, _matrix, fix_colour
from stripread.correction.residual import fit_residual
from tests.unit.correction.test_fit import CENTRES, KNOWN, PADS, PRINTED, encode, photo
from tests.unit.sizes.montecarlo import assert_covariance

AT = np.array([[30.0, 37.0], [46.0, 38.0], [54.0, 37.0]])
MIXED = PADS[[0, 1, 3]]
SAMPLES = photo(1)
FIX = fix_colour(SAMPLES, KNOWN)
RGB = encode(np.vstack([PRINTED, MIXED]), np.vstack([CENTRES, AT]), 1, noise=0.0)[len(PRINTED) :]
LAB = rgb_to_lab(FIX.to_rgb(RGB, AT))
DRAWS = 1500
# theta: tone 5, light 3 x 6, off-diagonals of the matrix 6, flare 3
BLOCKS = {"tone": range(5), "light": range(5, 23), "mixing": range(23, 29), "flare": range(29, 32)}
NO_NOISE = np.full((len(AT), 3), 1e-16)


def lab_of(theta):
    """CIELAB (9,) of the three pads under other parameters."""
    fix = replace(FIX, theta=theta, matrix=np.linalg.inv(_matrix(theta)))
    return rgb_to_lab(fix.to_rgb(RGB, AT)).reshape(-1)


def only(indices):
    """The fit's covariance of some parameters alone."""
    cov = np.zeros_like(FIX.cov)
    cov[np.ix_(indices, indices)] = FIX.cov[np.ix_(indices, indices)]
    return cov


SMALL = 0.1  # of the doubts: a block without the others it is correlated with moves far, and CIELAB bends


def through_parameters(cov, seed, size=1.0):
    rng = np.random.default_rng(seed)
    values, vectors = np.linalg.eigh(cov)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    moved = np.array([lab_of(FIX.theta + size * root @ rng.normal(size=len(cov))) for _ in range(DRAWS)])
    return (moved - LAB.reshape(-1)) / size


@pytest.mark.parametrize("sd", [0.0005, 0.004])
def test_noise_of_the_pixels(sd):
    sds = sd * np.array([[1.0, 0.6, 2.0], [0.5, 1.0, 1.0], [1.0, 1.0, 0.7]])
    rng = np.random.default_rng(1)
    noisy = RGB + sds * rng.normal(size=(DRAWS, 3, 3))
    draws = np.array([rgb_to_lab(FIX.to_rgb(one, AT)).reshape(-1) for one in noisy])
    claimed = FIX.noise_cov(RGB, AT, sds**2)
    assert_covariance(claimed, draws, bend=0.02)  # CIELAB bends by that over such steps
    assert FIX.to_lab(RGB, AT, sds**2)[2]["noise"] == pytest.approx(claimed)


def test_there_is_no_parameter_beside_the_blocks():
    assert sum(len(block) for block in BLOCKS.values()) == len(FIX.theta)


@pytest.mark.parametrize("cause", BLOCKS)
def test_each_block_of_the_fit(cause):
    cov = only(list(BLOCKS[cause]))
    parts = replace(FIX, cov=cov).to_lab(RGB, AT, NO_NOISE)[2]
    left = FIX.left_over(RGB, AT, dye=True)[1]
    part = parts["correction"] - left if cause in {"mixing", "flare"} else parts[cause]
    assert_covariance(part, through_parameters(cov, 2, SMALL), bend=0.1)  # its own steps are a third of a doubt
    assert np.abs(parts["cross"]).max() < 1e-9


def test_the_whole_fit_with_its_correlations():
    _, cov, parts = FIX.to_lab(RGB, AT, NO_NOISE)
    whole = cov - parts["noise"] - FIX.left_over(RGB, AT, dye=True)[1]
    assert_covariance(whole, through_parameters(FIX.cov, 3), bend=0.05)


def test_fitted_parameters_scatter_as_the_patches_do():
    """Card values off by what they are said to be off by, fitted again: C - C P C, C the covariance claimed, P what the
    prior adds to its inverse (a normal posterior's mean, from its formula). The patches' weights fall smoothly from one
    on, and the doubt is widened where the patches miss by more: both are within the slack.
    """
    rng = np.random.default_rng(4)
    base = photo(1, PRINTED)
    fixes = []
    for _ in range(300):
        off = np.hypot(KNOWN.sd[:, None], MODEL_SD) * rng.normal(size=PRINTED.shape)
        fixes.append(fix_colour(base, CardValues((np.cbrt(PRINTED) + off) ** 3, KNOWN.sd, "estimated")))
    claimed = np.mean([f.cov for f in fixes], axis=0)
    light = [3.0, 0.6, 0.6, 0.25, 0.25, 0.25]  # the priors' standard deviations, as in tone, light and fit
    prior = np.array([0.2, 0.6, 0.6, 0.6, 0.4, *light, *light, *light, *[0.15] * 6, *[0.012] * 3])
    repeated = claimed - claimed @ np.diag(prior**-2) @ claimed
    step = 1e-4 * np.sqrt(np.diag(claimed))
    slope = np.array(
        [
            (lab_of(FIX.theta + h * e) - lab_of(FIX.theta - h * e)) / (2 * h)
            for h, e in zip(step, np.eye(32), strict=True)
        ]
    ).T
    draws = np.array([lab_of(f.theta) for f in fixes])
    assert_covariance(slope @ repeated @ slope.T, draws, bend=0.1)


def test_a_dye_s_own_error_by_channel():
    """The logarithm of the reflectance is off by a part of its own power, six tenths of it shared by the pads."""
    rng = np.random.default_rng(5)
    sds = np.array([0.06, 0.026, 0.0315]) * np.minimum(-np.log(MIXED), 2.5) ** 1.1
    shared, own = rng.normal(size=(DRAWS, 1, 3)), rng.normal(size=(DRAWS, 3, 3))
    off = sds * (np.sqrt(0.6) * shared + np.sqrt(0.4) * own)
    draws = rgb_to_lab(MIXED * np.exp(off)).reshape(DRAWS, -1)
    assert_covariance(channel_cov(MIXED), draws, bend=0.1)  # up to 12 % of a deep channel: CIELAB bends


def test_a_very_dark_channel():
    reference = np.array([[0.3, 0.2, 0.05], [0.1, 0.3, 0.08]])
    encoded = np.array([[0.6, 0.5, 0.03], [0.35, 0.6, 0.2]])
    sd = np.full((2, 3), 0.004)
    sd[0, 2] = 0.004 * (1.0 + 10.0 * 0.5)  # half of the way from 0.06 to zero as written
    near = 0.05  # of the doubt itself: the slope counts, not the bend of CIELAB near black
    draws = rgb_to_lab(reference + near * sd * np.random.default_rng(6).normal(size=(DRAWS, 2, 3)))
    assert_covariance(dark_cov(reference, encoded), draws.reshape(DRAWS, -1) / near, bend=0.02)


def test_a_foretold_shift():
    shift = np.array([[0.5, -2.0, 1.0], [0.0, 3.0, -1.5], [1.0, 1.0, 1.0]])
    rng = np.random.default_rng(7)
    shared, own = rng.normal(size=(DRAWS, 1, 3)), rng.normal(size=(DRAWS, 3, 3))
    draws = 0.65 * shift * (np.sqrt(0.7) * shared + np.sqrt(0.3) * own)
    assert_covariance(moved_cov(shift), draws.reshape(DRAWS, -1))


def between(one, other, length):
    return np.exp(-0.5 * np.square(one[:, None] - other[None]).sum(axis=2) / length**2)


def foreign(lab, local):
    """What a dye adds (P, 3, 3): covariance between pads in each channel, for a local mean square miss (P, 3)."""
    alike = 0.3 * between(lab, lab, 40.0) + 0.7 * np.eye(len(lab))
    spread = np.sqrt(0.7**2 * local + np.array([0.45, 1.0, 1.0]) ** 2)
    return alike[:, :, None] * spread[:, None] * spread[None]


def test_where_the_patches_agree_a_dye_is_doubted_by_its_base():
    rng = np.random.default_rng(8)
    lab = rng.uniform([20, -50, -50], [90, 50, 50], (60, 3))
    at = np.array([[50.0, 10, 20], [60, 15, 25], [70, -30, 0]])
    model = fit_residual(lab, 1e-9 * rng.normal(size=(60, 3)), np.ones(60, bool))
    local = 0.35**2 * 2.0 / (between(at, lab, 30.0).sum(axis=1) + 2.0)  # of the nugget's floor, worth two patches
    cov = foreign(at, np.repeat(local[:, None], 3, axis=1))
    claimed = model.at(at)[1].reshape(3, 3, 3, 3)
    for c in range(3):
        draws = np.random.default_rng([9, c]).multivariate_normal(np.zeros(3), cov[:, :, c], DRAWS)
        assert_covariance(claimed[:, c, :, c], draws)
        # 1500 draws of three pads hardly tell a third of a variance shared from a tenth: the formula does
        assert claimed[:, c, :, c] == pytest.approx(cov[:, :, c], rel=0.001)


def test_a_dye_s_colour_off_by_what_patches_and_dyes_miss():
    """Misses smooth in colour, drawn with the kernel and nugget of one of the candidates, and a dye's own error on top.

    The choice among the candidates prefers too small a smooth part, which then claims two thirds of its variance; of
    the whole doubt of a pad that is a few percent, within the slack.
    """
    rng = np.random.default_rng(10)
    lab = rng.uniform([20, -50, -50], [90, 50, 50], (74, 3))
    at = np.array([[50.0, 10, 20], [60, -15, 5], [70, 20, -20]])
    both = np.vstack([lab, at])
    root = np.linalg.cholesky(between(both, both, 50.0) + 1e-9 * np.eye(len(both)))
    missed, claimed = [], []
    for _ in range(500):
        field = 3.0 * root @ rng.normal(size=(len(both), 3))
        model = fit_residual(lab, field[:74] + np.sqrt(3.0) * rng.normal(size=(74, 3)), np.ones(74, bool))
        shift, cov = model.at(at)
        own = foreign(at, model.local_variance(at))
        dye = np.stack([rng.multivariate_normal(np.zeros(3), own[:, :, c]) for c in range(3)], axis=1)
        missed.append((field[74:] - shift + dye).reshape(-1))
        claimed.append(cov)
    assert_covariance(np.mean(claimed, axis=0), np.array(missed), bend=0.1)


@pytest.mark.parametrize(("smooth_sd", "nugget"), [(3.0, 3.0**0.5), (1.5, 1.5), (2.0, 0.7)])
def test_too_small_a_smooth_part_leaves_intervals_nearly_as_wide_as_they_say(smooth_sd, nugget):
    """The choice among candidates takes a later, smoother one only where it foretells three in a hundred better.

    So the smooth part claims 0.6 to 0.8 of what it misses. What a dye adds on top is larger: the whole variance is 0.9
    or more of the one drawn, and 95 % intervals hold 93.3 % or more (seen in 300 cards each). The limits here are 0.04
    and 0.02 lower, for 120 cards of nine values that are alike in part.
    """
    rng = np.random.default_rng(10)
    lab = rng.uniform([20, -50, -50], [90, 50, 50], (74, 3))
    at = np.array([[50.0, 10, 20], [60, -15, 5], [70, 20, -20]])
    both = np.vstack([lab, at])
    root = np.linalg.cholesky(between(both, both, 50.0) + 1e-9 * np.eye(len(both)))
    off, sd = [], []
    for _ in range(120):
        field = smooth_sd * root @ rng.normal(size=(len(both), 3))
        model = fit_residual(lab, field[:74] + nugget * rng.normal(size=(74, 3)), np.ones(74, bool))
        shift, cov = model.at(at)
        own = foreign(at, model.local_variance(at))
        dye = np.stack([rng.multivariate_normal(np.zeros(3), own[:, :, c]) for c in range(3)], axis=1)
        off.append((field[74:] - shift + dye).reshape(-1))
        sd.append(np.sqrt(np.diag(cov)))
    assert 0.86 < np.mean(np.square(sd)) / np.mean(np.square(off)) < 1.1
    assert 0.913 < np.mean(np.abs(off) < 1.96 * np.array(sd)) < 0.975
