"""Tint and pale share: what their covariances and intervals say, against draws of the cause."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import cumulative_trapezoid
from scipy.stats import gamma, multivariate_t

from stripread.solid.share import mixed_doubt, scatter, share_interval
from stripread.tint.concentration import concentration
from stripread.tint.estimate import estimate_tint
from stripread.tint.profile import default_response
from stripread.tint.sample import TintSample, _parts, scaled_cov
from stripread.tint.spectra import copper_curves
from stripread.window.liquid import LiquidMean
from tests.scenes.solid import Solid, grains
from tests.unit.sizes.montecarlo import assert_covariance, assert_share, assert_variance
from tests.unit.tint.test_estimate import sample_of

DRAWS = 1500
SAMPLE, BLANK = np.array([0.55, 0.70, 0.78]), np.array([0.80, 0.79, 0.76])
MOTTLE = 1e-5 * np.array([[4.0, 1.0, 0.5], [1.0, 3.0, 1.0], [0.5, 1.0, 2.0]])
NOISE = np.array([4e-6, 2e-6, 6e-6])


def mean(linear, texture=MOTTLE, noise=NOISE):
    return LiquidMean(linear**0.45, linear, noise, texture, 0.0)


@pytest.mark.parametrize("cause", ["noise", "texture", "light", "floor"])
def test_a_ratio_is_off_by_what_its_parts_say(cause):
    rng = np.random.default_rng(1)
    ratio = SAMPLE / BLANK
    if cause in {"noise", "texture"}:
        cov = np.diag(NOISE) if cause == "noise" else MOTTLE
        s, b = rng.multivariate_normal(np.zeros(3), cov, (2, DRAWS))
        draws = (SAMPLE + s) / (BLANK + b)
    elif cause == "light":  # the light of the one window over that of the other, natural log
        cov = 1e-4 * np.array([[1.0, 0.9, 0.8], [0.9, 1.0, 0.9], [0.8, 0.9, 1.0]])
        draws = ratio * np.exp(-rng.multivariate_normal(np.zeros(3), cov, DRAWS))
    else:  # two photos of a pair differ by 0.0014, a veil takes 0.005 of the blank's light, 0.0005 is always left
        veil = 0.005 * rng.normal(size=(DRAWS, 3)) * (1.0 - ratio)
        draws = ratio * (1.0 + 0.0014 * rng.normal(size=(DRAWS, 3))) + veil + 0.0005 * rng.normal(size=(DRAWS, 3))
    parts = _parts(mean(SAMPLE), mean(BLANK), ratio, BLANK)
    claimed = scaled_cov(cov, ratio) if cause == "light" else parts[cause]
    assert_covariance(claimed, draws, bend=0.02)


COV = 1e-5 * np.array([[3.0, 1.0, 0.5], [1.0, 2.0, 0.8], [0.5, 0.8, 2.5]])


def test_a_blank_s_signal_scatters_by_its_sd_and_passes_its_limits_as_often_as_they_say():
    rng = np.random.default_rng(2)
    off = rng.multivariate_normal(np.zeros(3), COV, 350) + 0.02 * rng.normal(size=(350, 1))
    estimates = [estimate_tint(TintSample(1.0 + one, COV, {}, 0.0, 1.0)) for one in off]
    sd0 = estimates[0].sd0
    signal = np.array([e.signal for e in estimates])
    assert_variance(sd0**2, signal)
    assert_share(signal > estimates[0].decision_limit, 0.05)
    assert estimates[0].decision_limit == pytest.approx(1.645 * sd0)
    assert estimates[0].detection_limit == pytest.approx((3.2 + 1.645) * 1.5 * sd0)


@pytest.mark.parametrize("ratio", [(1.0, 1.0, 1.0), (0.9, 0.96, 0.99), (0.6, 0.75, 0.9)])
def test_the_posterior_of_an_absorbance_by_another_t_density(ratio):
    """SciPy's own density of 8 degrees of freedom, averaged over the drawn phones and lights, flat prior."""
    ratio, curves = np.array(ratio), copper_curves()
    shape = np.diag((0.04 * ratio * np.log(ratio)) ** 2) + (0.03 * (1.0 - ratio.min())) ** 2 * np.eye(3)
    whole = COV + 0.02**2 * np.outer(ratio, ratio) + shape
    density = multivariate_t(np.zeros(3), whole, df=8).pdf(ratio - curves.ratio).mean(axis=0)
    density /= np.trapezoid(density, curves.absorbance)
    e = estimate_tint(TintSample(ratio, COV, {}, 0.0, 1.0))
    assert e.density == pytest.approx(density, abs=1e-6 * density.max())
    held = np.diff(
        np.interp(e.interval, curves.absorbance, cumulative_trapezoid(density, curves.absorbance, initial=0))
    )
    assert held[0] == pytest.approx(0.95, abs=1e-6)


@pytest.mark.parametrize("true", [0.05, 0.2])
def test_absorbance_of_one_phone_scatters_as_said_and_is_held(true):
    """Over all drawn phones and lights, noise and the vessels' grey: 150 photos, 95 % +- 8 % once in 100,000."""
    rng = np.random.default_rng(3)
    curves = copper_curves()
    inside, sure = [], []
    for _ in range(150):
        s = int(rng.integers(len(curves.ratio)))
        ratio = np.array([np.interp(true, curves.absorbance, curves.ratio[s, :, k]) for k in range(3)])
        ratio = ratio * (1.0 + 0.02 * rng.normal()) + rng.multivariate_normal(np.zeros(3), COV)
        left = np.clip(ratio, 1e-3, 1.0)
        ratio = ratio + 0.04 * left * np.log(left) * rng.normal(size=3)  # the curve of a real system is off by that
        ratio = ratio + 0.03 * (1.0 - left.min()) * rng.normal(size=3)  # and by what the matrix puts across
        e = estimate_tint(TintSample(ratio, COV, {}, 0.0, 1.0))
        inside.append(e.interval[0] <= true <= e.interval[1])
        sure.append(e.interval[1] - e.interval[0])
    assert_share(inside, 0.95)
    assert np.mean(sure) < 2.0 * true + 0.06  # and says something


def test_a_concentration_by_standards_is_as_wide_as_its_causes():
    """Noise, the photo's own scatter about the response and the response's doubt: draws of all three."""
    rng = np.random.default_rng(4)
    profile = replace(default_response(), learned=True, response_sd=0.04, repeat_sd=0.03, blank_sd=0.001)
    e = estimate_tint(sample_of((0.9, 0.95, 1.0)))
    found = concentration(e, 20.0, profile)
    sd = np.hypot(max(e.noise_sd, 0.001), 0.03 * e.absorbance)
    drawn = (e.absorbance + sd * rng.normal(size=200_000)) / (profile.response * 20.0)
    drawn = drawn * np.exp(-0.04 * rng.normal(size=200_000))
    assert found.interval == pytest.approx(tuple(np.quantile(drawn, [0.025, 0.975])), rel=0.01)
    assert found.mg_per_l == pytest.approx(np.median(drawn), rel=0.005)


@pytest.mark.parametrize(("pale", "grain"), [(0.2, 0.4), (0.05, 0.3), (0.4, 0.25)])
def test_the_share_of_heaps_of_one_batch(pale, grain):
    """Discs at random places (a Boolean model): 250 heaps. Blocks smaller than a grain are not independent and give too
    little, which the larger ones make up for in part: a quarter is the slack.
    """
    heaps = [grains(Solid(pale, grain, seed=n), (100, 100), 6.0).astype(np.float32) for n in range(250)]
    claimed = float(np.mean([scatter(share, share >= 0, 6.0) for share in heaps]))
    assert_variance(claimed, [share.mean() for share in heaps], bend=0.25)


EDGES = np.concatenate([np.zeros(600), np.ones(300), np.linspace(0.15, 0.85, 100)]).astype(np.float32)


@pytest.mark.parametrize("share", [EDGES, np.full(1000, 0.5, np.float32)], ids=["edges", "specks"])
def test_a_mix_is_off_by_its_level_and_by_its_edges(share):
    """A tenth of the pixels mixed, or all: level off by 8 %, edges by 5 % and specks by 36 %."""
    rng = np.random.default_rng(5)
    mixed = (share > 0.1) & (share < 0.9)
    specks = share[mixed].sum() / share.sum()
    edge = 0.05 + 0.31 * specks
    off = 0.08 * rng.normal(size=DRAWS) + edge * rng.normal(size=DRAWS)
    draws = [(share * np.where(mixed, 1.0 + one, 1.0)).mean() for one in off]
    assert_variance(mixed_doubt(share, 0.08) ** 2, draws)


@pytest.mark.parametrize(("pale", "sd"), [(0.6, 0.03), (0.35, 0.05), (0.2, 0.03), (0.05, 0.02), (0.01, 0.005)])
def test_the_interval_of_a_share_holds_95_percent_of_shares_like_it(pale, sd):
    """Normal where much is pale, else a sum of grains, gamma distributed, each with the mean and sd that were read."""
    rng = np.random.default_rng(6)
    shape = (pale / sd) ** 2
    drawn = rng.normal(pale, sd, 4000) if pale > 0.3 else gamma(shape, scale=pale / shape).rvs(4000, random_state=rng)
    low, high = share_interval(pale, sd)
    assert_share((drawn >= low) & (drawn <= high), 0.95)
    assert_share(drawn < low, 0.025)
