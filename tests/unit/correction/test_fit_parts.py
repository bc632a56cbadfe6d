"""The colour fit's parts: what each parameter does, by hand; that the fit is a minimum, and how sure it says it is."""

from dataclasses import replace

import numpy as np
import pytest

from stripread.card.patches import PatchSamples
from stripread.card.values import CardValues, nominal_values
from stripread.colour import delta_e, rgb_to_lab, srgb_encode
from stripread.correction import light, tone
from stripread.correction.dye_field import INK_SHARE, basis, dye_field, ink_field
from stripread.correction.dyes import channel_cov, dark_cov, moved_cov
from stripread.correction.fit import (
    A_PRIOR_SD,
    FLARE_PRIOR_SD,
    MODEL_SD,
    N_PARAMETERS,
    _is_monochrome,
    _residuals,
    fix_colour,
)
from tests.unit.correction.test_fit import CENTRES, KNOWN, PAD_AT, PADS, PRINTED, photo

FIX = fix_colour(photo(1), KNOWN)
PRIOR_SD = np.array([*tone.PRIOR_SD, *np.tile(light.PRIOR_SD, 3), *[A_PRIOR_SD] * 6, *[FLARE_PRIOR_SD] * 3])


def _with(**named):
    """The fit with these parameters (index: value) and no others."""
    theta = np.zeros(N_PARAMETERS)
    for name, value in named.items():
        theta[int(name[1:])] = value
    A = _mix(theta)
    return replace(FIX, theta=theta, matrix=np.linalg.inv(A))


def _mix(theta):
    """Camera colours: six off-diagonals row by row, rows that add up to 1."""
    a = theta[23:29]
    return np.array([[1 - a[0] - a[1], a[0], a[1]], [a[2], 1 - a[2] - a[3], a[3]], [a[4], a[5], 1 - a[4] - a[5]]])


def _errors(theta, samples, values):
    """What the model of the docstring misses (N, 3), after a cube root."""
    field = light.basis(samples.centre_mm) @ theta[5:23].reshape(3, 6).T
    device = np.exp(tone.log_light(samples.rgb) + tone.basis(samples.rgb) @ theta[:5] - field)
    return np.cbrt(device) - np.cbrt(np.maximum(values.rgb @ _mix(theta).T + theta[29:], 1e-4))


def _slopes(theta, samples, values):
    """Their Jacobian (3N, 32) by differences."""
    h = 1e-6
    return np.array(
        [
            (_errors(theta + h * e, samples, values) - _errors(theta - h * e, samples, values)).reshape(-1) / (2 * h)
            for e in np.eye(N_PARAMETERS)
        ]
    ).T


def _variance(samples, values):
    """Of the pixels' noise by the slope of a gamma of 2.2, of the reference values, of the model."""
    noise = 2.2 / np.maximum(samples.rgb, 0.02) * np.sqrt(samples.var) * np.cbrt(np.maximum(values.rgb, 0.002)) / 3.0
    return noise**2 + values.sd[:, None] ** 2 + MODEL_SD**2


def test_light_is_told_relative_to_the_card_s_centre():
    fix = _with(_5=0.7, _6=0.1, _11=9.9, _18=0.2, _22=0.3)  # levels of red and green; x in red, x and y squared in blue
    at = np.array([[74.0, 52.0], [148.0, 52.0], [0.0, 52.0], [148.0, 104.0]])
    expected = np.exp([[0, 0, 0], [0.1, 0, 0.2], [-0.1, 0, -0.2], [0.1, 0, 0.5]])
    assert fix.light_at(at) == pytest.approx(expected)


def test_a_colour_of_a_known_phone_comes_back():
    mixing = {f"_{23 + i}": v for i, v in enumerate((0.1, -0.05, 0.07, 0.02, -0.03, 0.04))}
    fix = _with(_5=-0.2, _6=0.3, _11=0.1, _17=-0.1, _29=0.01, _30=0.02, _31=0.005, **mixing)
    field = np.exp(light.basis(PAD_AT) @ fix.theta[5:23].reshape(3, 6).T)
    mix = np.array([[0.95, 0.1, -0.05], [0.07, 0.91, 0.02], [-0.03, 0.04, 0.99]])
    encoded = srgb_encode((PADS @ mix.T + [0.01, 0.02, 0.005]) * field)
    assert fix.to_rgb(encoded, PAD_AT) == pytest.approx(PADS, abs=1e-9)


def test_the_jacobian_is_that_of_the_model():
    samples = photo(2)
    rng = np.random.default_rng(1)
    theta = 0.05 * PRIOR_SD * rng.normal(size=N_PARAMETERS)
    given = tone.log_light(samples.rgb), tone.basis(samples.rgb), light.basis(CENTRES)
    error, jacobian = _residuals(theta, PRINTED, *given)
    assert error == pytest.approx(_errors(theta, samples, KNOWN), abs=1e-12)
    assert jacobian == pytest.approx(_slopes(theta, samples, KNOWN), abs=1e-6)


def _noisy(seed):
    """A photo whose own noise counts beside the values' doubt, unlike from patch to patch."""
    samples = photo(seed)
    sd = 0.02 * np.random.default_rng(seed).uniform(0.1, 1.0, samples.rgb.shape)
    noise = sd * np.random.default_rng(9).normal(size=sd.shape)
    return replace(samples, rgb=np.clip(samples.rgb + noise, 0, 1), var=sd**2)


def _off(sd):
    """The card's values, wrong by more than they are said to be."""
    wrong = np.cbrt(PRINTED) + sd * np.random.default_rng(8).normal(size=PRINTED.shape)
    return CardValues(np.where(np.ptp(PRINTED, axis=1, keepdims=True) < 0.02, PRINTED, wrong**3), KNOWN.sd, "estimated")


OTHER = _off(0.03)


@pytest.mark.parametrize(
    ("samples", "values", "widened"),
    [(photo(1), KNOWN, False), (_noisy(2), KNOWN, False), (photo(7), OTHER, True)],
    ids=["clean", "noisy", "wrong values"],
)
def test_the_fit_is_a_minimum_and_as_sure_as_its_curvature(samples, values, widened):
    fix = fix_colour(samples, values)
    error, J, variance = (f(fix.theta, samples, values) for f in (_errors, _slopes, lambda *a: _variance(*a[1:])))
    chi = np.sqrt((error**2 / variance).mean(axis=1))
    scale = max(0.7, 1.4826 * np.median(chi[samples.clean]))
    assert fix.weights == pytest.approx(samples.clean / (1 + (chi / (2.5 * scale)) ** 4), abs=1e-6)

    w = (fix.weights[:, None] / variance).reshape(-1)
    H = (J * w[:, None]).T @ J + np.diag(PRIOR_SD**-2.0)
    chi_square = (fix.weights[:, None] * error**2 / variance).sum() / (3 * fix.weights.sum() - 20)
    assert (chi_square > 1.0) == widened
    assert fix.cov == pytest.approx(np.linalg.inv(H) * max(1.0, chi_square), rel=0.02, abs=1e-6)

    prior = np.zeros(N_PARAMETERS)  # all but the level of the light, which starts where the bright patches have it
    bright = samples.clean & (values.rgb.min(axis=1) > 0.5)
    prior[[5, 11, 17]] = (tone.log_light(samples.rgb) - np.log(values.rgb))[bright].mean(axis=0)
    left = np.linalg.solve(H, J.T @ (w * error.reshape(-1)) + (fix.theta - prior) / PRIOR_SD**2)
    assert np.abs(left / PRIOR_SD).max() < 0.01


def _miss(fix, samples, values):
    return rgb_to_lab(values.rgb) - rgb_to_lab(fix.to_rgb(samples.rgb, CENTRES))


def test_misses_are_told_as_colour_differences_of_the_trusted_patches():
    samples = photo(4)
    fix = fix_colour(samples, OTHER)
    off = _miss(fix, samples, OTHER)
    light_off = off[:, 0]
    trusted = fix.weights > 0.3
    assert 0 < (~trusted).sum() < 20
    assert fix.lab_rms == pytest.approx(np.sqrt(np.mean(np.linalg.norm(off[trusted], axis=1) ** 2)))
    neutral = trusted & (np.ptp(OTHER.rgb, axis=1) < 0.02)
    assert neutral.sum() > 3
    assert fix.light_rms == pytest.approx(np.sqrt(np.mean(light_off[neutral] ** 2)))


def test_what_inks_are_off_by_foretells_dyes_where_the_card_is_known():
    samples = photo(4)
    fix = fix_colour(samples, OTHER)
    target = rgb_to_lab(OTHER.rgb)
    miss = _miss(fix, samples, OTHER)
    # A cube root of 1 is 116 L*.
    assert fix.dyes == pytest.approx(dye_field(ink_field(target, miss, 116.0 * OTHER.sd, fix.weights)))
    assert fix.dyes.any()
    assert not fix_colour(samples, nominal_values()).dyes.any()


def test_a_card_whose_bright_patches_or_greys_are_hidden():
    def only(kept):
        return fix_colour(replace(photo(1), usable=kept), KNOWN)

    dark = only(PRINTED.min(axis=1) <= 0.5)
    assert delta_e(_lab(dark), _lab(FIX))[PRINTED.min(axis=1) < 0.3].max() < 4.0
    coloured = only(np.ptp(PRINTED, axis=1) > 0.02)
    assert np.isnan(coloured.light_rms)
    assert np.isfinite(coloured.lab_rms)
    assert np.isfinite(FIX.light_rms)


def _lab(fix):
    return rgb_to_lab(fix.to_rgb(photo(1).rgb, CENTRES))


def test_a_grey_card_says_only_how_light_things_are():
    grey = np.repeat(PRINTED.mean(axis=1, keepdims=True), 3, axis=1)
    samples = photo(3, grey)
    fix = fix_colour(samples, KNOWN)
    assert fix.monochrome
    assert not fix.dyes.any()
    neutral = np.ptp(KNOWN.rgb, axis=1) < 0.02
    off = np.linalg.norm(_miss(fix, samples, KNOWN), axis=1)
    assert fix.lab_rms == pytest.approx(np.sqrt(np.mean(off[neutral & (fix.weights > 0.3)] ** 2)))
    assert off[neutral].max() < 1.5  # coloured patches, as wrong as can be, have not bent the fit
    mixing = np.sqrt(np.diag(fix.cov))[23:29]
    assert mixing.max() <= 0.05 * np.sqrt(max(1.0, fix.cov[31, 31] / FLARE_PRIOR_SD**2)) * 1.05


@pytest.mark.parametrize(("share", "grey"), [(0.0, True), (0.19, True), (0.21, False), (1.0, False)])
def test_colours_are_lost_where_less_than_a_fifth_of_them_came_out(share, grey):
    samples, values = _faded(share)
    assert _is_monochrome(samples, values, samples.usable) == grey


def _faded(share, neutral=6, coloured=6):
    """Patches of which that share of the colour came out, in logarithms under a gamma of 2.2, and a cast over all."""
    rng = np.random.default_rng(3)
    rgb = np.vstack([rng.uniform(0.05, 0.9, (neutral, 1)) * np.ones(3), rng.uniform(0.0, 0.9, (coloured, 3))])
    rgb[neutral:, 0] = np.minimum(rgb[neutral:, 1] + 0.3, 1.0)
    sent = np.log(np.maximum(rgb, 0.01)) / 2.2
    level = sent.mean(axis=1, keepdims=True)
    encoded = 0.9 * np.exp(level + share * (sent - level) + [0.05, 0.0, -0.05])
    n = len(rgb)
    samples = PatchSamples(encoded, np.full((n, 3), 1e-6), np.zeros((n, 3)), np.zeros(n), np.ones(n, bool), CENTRES[:n])
    return samples, CardValues(rgb, np.full(n, 0.004), "estimated")


@pytest.mark.parametrize(("neutral", "coloured", "grey"), [(6, 6, True), (5, 6, False), (6, 5, False)])
def test_few_patches_tell_nothing_of_lost_colour(neutral, coloured, grey):
    samples, values = _faded(0.0, neutral, coloured)
    assert _is_monochrome(samples, values, samples.usable) == grey


def test_patches_that_are_not_clean_do_not_tell_of_lost_colour():
    samples, values = _faded(0.0, 8, 8)
    gaudy = np.arange(16) >= 14
    loud = replace(samples, rgb=np.where(gaudy[:, None], [0.9, 0.1, 0.5], samples.rgb))
    assert not _is_monochrome(loud, values, samples.usable)
    assert _is_monochrome(loud, values, ~gaudy)


def test_what_is_left_over_for_prints_and_for_dyes():
    rgb = photo(1).rgb[30:33]
    at = CENTRES[30:33]
    reference = FIX.to_rgb(rgb, at)
    field = np.zeros((10, 3))
    field[0] = (3.0, 0.0, 4.0)
    known, unknown = replace(FIX, dyes=field), replace(FIX, dyes=np.zeros((10, 3)))
    ink, ink_cov = FIX.residual.at(rgb_to_lab(reference))
    base = ink_cov + channel_cov(reference) + dark_cov(reference, rgb)
    for fix, dye in ((known, False), (unknown, True), (unknown, False)):
        shift, cov = fix.left_over(rgb, at, dye=dye)
        assert shift == pytest.approx(ink)
        assert cov == pytest.approx(base)
    shift, cov = known.left_over(rgb, at, dye=True)
    assert shift == pytest.approx(INK_SHARE * ink + [3.0, 0.0, 4.0])
    assert cov == pytest.approx(base + moved_cov(np.tile([3.0, 0.0, 4.0], (3, 1))))


def test_how_far_dyes_are_off():
    rgb, at = photo(1).rgb[30:33], CENTRES[30:33]
    field = np.zeros((10, 3))
    assert replace(FIX, dyes=field).dyes_off(rgb, at) == 0.0
    field[0] = (3.0, 0.0, 4.0)
    assert replace(FIX, dyes=field).dyes_off(rgb, at) == pytest.approx(5.0)
    field[1] = (0.0, 2.0, 0.0)  # twice (L* - 60) / 30 in a*
    L = rgb_to_lab(FIX.to_rgb(rgb, at))[:, 0]
    assert basis(np.array([[75.0, 0.0, 0.0]]))[0, 1] == pytest.approx(0.5)
    expected = np.sqrt(25.0 + np.mean((2.0 * (L - 60.0) / 30.0) ** 2))
    assert replace(FIX, dyes=field).dyes_off(rgb, at) == pytest.approx(expected)
