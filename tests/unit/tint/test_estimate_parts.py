"""The tint's estimate against closed forms: the blank's scatter, the signal, the posterior's quantiles."""

import numpy as np
import pytest

from stripread.tint.estimate import CALLED, GREY_SD, ONE_IN_20, RESPONSE_LOW, _quantiles, _square, estimate_tint
from stripread.tint.sample import TintSample
from stripread.tint.spectra import copper_curves, nickel_curves


def _sample(ratio, sd):
    return TintSample(np.asarray(ratio, dtype=float), sd**2 * np.eye(3), {}, 0.0, 1.0)


@pytest.mark.parametrize("sd", [0.002, 0.02, 0.2])
def test_a_blank_s_scatter_and_signal_in_closed_form(sd):
    """Noise s alike in all channels and a grey factor g: the inverse of s^2 I + g^2 11' by Sherman and Morrison.

    The inverse is (I - g^2 11' / (s^2 + 3 g^2)) / s^2. With q the mean slope of copper's curves at nothing, generalised
    least squares have the variance 1 / q'Vq and the value q'V(ratio - 1) / q'Vq.
    """
    ratio = np.array([0.97, 0.99, 1.01])
    q = copper_curves().slope.mean(axis=0)
    share = GREY_SD**2 / (sd**2 + 3 * GREY_SD**2)
    qVq = (q @ q - share * q.sum() ** 2) / sd**2
    qVr = (q @ (ratio - 1.0) - share * q.sum() * (ratio - 1.0).sum()) / sd**2
    e = estimate_tint(_sample(ratio, sd))
    assert e.sd0 == pytest.approx(qVq**-0.5)
    assert e.signal == pytest.approx(qVr / qVq)
    assert e.decision_limit == pytest.approx(ONE_IN_20 * qVq**-0.5)
    assert e.detection_limit == pytest.approx((CALLED + ONE_IN_20) * RESPONSE_LOW * qVq**-0.5)


def test_squared_distances():
    rng = np.random.default_rng(1)
    root = rng.normal(size=(3, 3))
    precision = root @ root.T
    error = rng.normal(size=(2, 4, 3))
    assert _square(error, precision) == pytest.approx(np.einsum("sgi,ij,sgj->sg", error, precision, error))


def test_quantiles_by_hand():
    # Density 2x on 0 to 1: quantile q at sqrt(q).
    grid = np.linspace(0.0, 1.0, 2001)
    assert _quantiles(grid, 2 * grid, (0.025, 0.5, 0.975)) == pytest.approx(np.sqrt([0.025, 0.5, 0.975]), abs=1e-3)
    uneven = np.array([0.0, 1.0, 4.0])
    assert _quantiles(uneven, np.array([5.0, 5.0, 5.0]), (0.25, 0.5)) == pytest.approx((1.0, 2.0))


@pytest.mark.parametrize("ratio", [(0.95, 0.97, 0.98), (1.05, 1.04, 1.06), (0.6, 0.8, 1.0)])
def test_the_grey_factor_is_what_a_normal_factor_of_two_in_a_hundred_would_take(ratio):
    """Of what is left to the nearest colour, r (1 + k) with k normal: its mean is g^2 r'W^-1 left, W all the doubts."""
    ratio, curves = np.array(ratio), copper_curves()
    left_of_it = np.minimum(ratio, 1.0)
    W = 0.003**2 * np.eye(3) + 0.02**2 * np.outer(ratio, ratio) + np.diag((0.04 * left_of_it * np.log(left_of_it)) ** 2)
    W = W + (0.03 * (1.0 - left_of_it.min())) ** 2 * np.eye(3)
    off = (ratio - curves.ratio).reshape(-1, 3)
    squares = np.einsum("ni,ij,nj->n", off, np.linalg.inv(W), off)
    e = estimate_tint(_sample(ratio, 0.003))
    assert e.misfit == pytest.approx(squares.min())
    assert e.grey == pytest.approx(0.02**2 * ratio @ np.linalg.solve(W, off[np.argmin(squares)]), rel=1e-6, abs=1e-9)


def test_probability_that_there_is_more_than_nothing():
    for ratio, low, high in (
        ((1.0, 1.0, 1.0), 0.2, 0.8),
        ((0.7, 0.85, 0.95), 0.999, 1.0),
        ((1.06, 1.02, 1.0), 0.0, 0.02),
    ):
        e = estimate_tint(_sample(ratio, 0.003))
        assert low <= e.probability <= high
        above = np.where(e.grid > 0, e.density, 0.0)
        assert e.probability == pytest.approx(np.trapezoid(above, e.grid))
        assert np.trapezoid(e.density, e.grid) == pytest.approx(1.0)


def test_nickel_s_own_colour_is_likelier_nickel_s():
    for curves, likely in ((nickel_curves(), True), (copper_curves(), False)):
        g = int(np.argmin(np.abs(curves.absorbance - 0.2)))
        e = estimate_tint(_sample(curves.ratio.mean(axis=0)[g], 0.002))
        assert (e.nickel > 0.8) == likely
        assert (e.nickel < 0.2) != likely


def test_noise_of_an_absorbance_by_the_slope_of_the_curve_that_fits():
    """On a drawn system's own curve the nearest place is itself; noise large, so that nothing else counts."""
    curves = copper_curves()
    g = int(np.argmin(np.abs(curves.absorbance - 0.1)))
    ratio = curves.ratio[3, g]
    sd = 0.3
    step = (curves.ratio[3, g + 1] - curves.ratio[3, g - 1]) / (curves.absorbance[g + 1] - curves.absorbance[g - 1])
    e = estimate_tint(_sample(ratio, sd))
    assert e.misfit == pytest.approx(0.0, abs=1e-12)
    assert e.noise_sd == pytest.approx(sd / np.linalg.norm(step), rel=0.03)
