"""What strips, photos and several photos of one liquid differ by, against draws of just that."""

import numpy as np
import pytest

from stripread.card.layout import layout
from stripread.card.patches import sample_patches
from stripread.card.view import CardView
from stripread.ph.curve import Lot, Scatter, StripCurve
from stripread.ph.difference import difference_of
from stripread.ph.joint_posterior import infer_joint
from stripread.ph.kubelka import absorption, channels_to_lab, lab_to_channels, reflectance
from stripread.ph.observation import StripObservation
from stripread.strip.one_strip import FoundStrip
from stripread.strip.pads import sample_pads
from stripread.strip.pixels import PadRegion
from tests.unit.ph.test_joint_posterior import SIZES, profile
from tests.unit.sizes.montecarlo import assert_covariance, assert_variance

DRAWS = 1500


def two_pads(ph):
    """CIELAB (N, 2, 3) of two pads with one transition each."""
    one, two = 1 / (1 + np.exp(-(ph - 6.0))), 1 / (1 + np.exp(-1.2 * (ph - 5.0)))
    return np.stack(
        [
            np.stack([70 - 10 * one, 25 * one - 5, 40 * (1 - one)], -1),
            np.stack([60 - 5 * two, -20 * two, 20 * two], -1),
        ],
        axis=1,
    )


def strip(lot, scatter=Scatter((0.8, 1.1, 1.4), (0.4, 0.5, 0.7))):  # noqa: B008 - frozen
    grid = np.linspace(0.0, 14.0, 561)
    factor = np.array([0.5 * np.eye(6), np.tril(np.full((6, 6), 0.2)) + 0.3 * np.eye(6)])
    return StripCurve(grid, two_pads(grid), np.array([0.0, 14.0]), factor, scatter, lot)


def test_strips_of_other_lots():
    """Each pad's transitions come 0.04 pH earlier or later, its paper is 0.5 L* lighter, its dye 3 % more or less, and
    through all of a strip's comes 0.5 % more or less of the light."""
    rng = np.random.default_rng(1)
    lot = Lot(shift=0.04, load=0.03, lightness=0.5, through=0.005)
    shift, load, light = rng.normal(0, [[[0.04]], [[0.03]], [[0.5]]], (3, DRAWS, 2))
    through = rng.normal(0, 0.005, DRAWS)
    draws = np.zeros((DRAWS, 2, 3))
    bare = (1.0 - 0.9) ** 2 / (2 * 0.9)  # Kubelka and Munk's K/S of the paper without dye
    for n in range(DRAWS):
        for p in range(2):
            lab = two_pads(np.array([5.6 + shift[n, p]]))[0, p]
            k = absorption(lab_to_channels(lab))
            dyed = reflectance(k + load[n, p] * np.maximum(k - bare, 0.0))
            draws[n, p] = channels_to_lab(dyed + through[n] * (0.9 - dyed))
            draws[n, p, 0] += light[n, p]
    assert_covariance(strip(lot).strip_cov(np.array([5.6]))[0], draws.reshape(DRAWS, -1), bend=0.03)


def test_photos_about_the_curve():
    rng = np.random.default_rng(2)
    common, own = np.array([0.8, 1.1, 1.4]), np.array([0.4, 0.5, 0.7])
    draws = common * rng.normal(size=(DRAWS, 1, 3)) + own * rng.normal(size=(DRAWS, 2, 3))
    assert_covariance(strip(Lot()).scatter_cov(), draws.reshape(DRAWS, -1))
    assert_covariance(4.0 * strip(Lot(), strip(Lot()).scatter.widened(0.25)).scatter_cov(), draws.reshape(DRAWS, -1))


def test_the_curve_s_own_doubt_between_two_points_of_its_table():
    rng = np.random.default_rng(3)
    ends = [0.5 * np.eye(6), np.tril(np.full((6, 6), 0.2)) + 0.3 * np.eye(6)]
    for ph, share in ((0.0, 0.0), (3.5, 0.25), (14.0, 1.0), (20.0, 1.0)):
        # a covariance linear in pH: that of two independent errors, weighted by the roots of their shares
        one, two = rng.normal(size=(2, DRAWS, 6))
        draws = np.sqrt(1 - share) * one @ ends[0].T + np.sqrt(share) * two @ ends[1].T
        assert_covariance(strip(Lot()).curve_cov(np.array([ph]))[0], draws)


def runs(rng, shape, sd):
    """Noise in which five pixels in a row are one draw: what demosaicing and compression leave."""
    h, w = shape
    return sd * np.repeat(rng.normal(size=(h, -(-w // 5), 3)), 5, axis=1)[:, :w]


PADS_PX = (30, 30)


def noisy_view(rng, size, sd):
    rgb = np.rint(np.array([120.0, 90.0, 160.0]) + runs(rng, size, sd))
    return CardView(rgb.astype(np.uint8), 3.478, 0.0, np.ones(size, bool), 0.3, 1.5)


@pytest.mark.parametrize("sd", [2.0, 6.0])
def test_the_mean_of_a_pad_s_pixels(sd):
    """Of a pad of 900 pixels, five in a row alike, in 400 photos. The floor of 0.0006 comes on top (compression)."""
    rng = np.random.default_rng(4)
    pad = PadRegion(np.zeros((4, 2)), np.ones(PADS_PX, bool), (0, 0), 0.0, 0.0, 0.0, False, 1.0, np.ones(3))
    found = FoundStrip(np.zeros((4, 2)), "left", (pad,), 1.0, 6.0, ())
    read = [sample_pads(noisy_view(rng, PADS_PX, sd), found) for _ in range(400)]
    claimed = np.mean([r.noise[0] for r in read], axis=0) - 0.0006**2
    # What lies beyond four robust standard deviations is left out, which takes a little from the variance.
    for k in range(3):
        assert_variance(claimed[k], [r.rgb[0, k] for r in read], bend=0.05)


def test_the_mean_of_a_patch_s_pixels():
    rng = np.random.default_rng(5)
    card = layout()
    size = (int(card.size_mm[1] * 3.478) + 2, int(card.size_mm[0] * 3.478) + 2)
    read = [sample_patches(noisy_view(rng, size, 4.0), card) for _ in range(60)]
    for patch in (0, 30, 60):
        claimed = np.mean([r.var[patch] for r in read], axis=0) - 0.0006**2
        # 16 samples a row in runs of five: the run that is cut off counts for more, the variance is 5 to 7 % smaller
        for k in range(3):
            assert_variance(claimed[k], [r.rgb[patch, k] for r in read], bend=0.1)


ALIKE = np.array([[1.0, 0.5, 0.2], [0.5, 1.0, 0.3], [0.2, 0.3, 1.0]])


def observed(rng, same_strip):
    """Three photos of pH 6, errors drawn as their causes say; the mean's own curve and lot are as the profile's."""
    full = np.ones((3, 3))
    strip_shared = full if same_strip else np.eye(3)
    foreign = 0.5 * full + 0.5 * ALIKE  # half of a dye's error is the calibrating phone's
    sizes = {
        "noise": (0.6, np.eye(3)),
        "texture": (0.3, strip_shared),
        "fit": (0.8, ALIKE),
        "foreign": (0.7, foreign),
    }
    lab = np.tile(profile().curve(np.array([6.0]))[0].reshape(-1), (3, 1))
    for sd, shared in sizes.values():
        root = np.linalg.cholesky(shared + 1e-12 * np.eye(3))
        lab = lab + sd * root @ rng.normal(size=(3, 6))
    roots = {cause: sd * np.eye(6) for cause, (sd, _) in sizes.items()}
    roots |= {"tone": 0.0 * np.eye(6), "light": 0.0 * np.eye(6), "mixing": 0.8 * np.eye(6)}
    return [StripObservation(f"{n}.jpg", f"{n:064x}", lab[n].reshape(2, 3), roots) for n in range(3)]


@pytest.mark.parametrize("same_strip", [True, False])
def test_the_mean_of_several_photos(same_strip):
    rng = np.random.default_rng(6)
    joints = [infer_joint(observed(rng, same_strip), profile(), same_strip=same_strip, alike=ALIKE) for _ in range(300)]
    usual = [j for j in joints if j.agreement.stretch == 1.0]
    assert len(usual) > 285  # one in a hundred would be stretched: more than fifteen of 300 once in a million
    draws = np.array([j.pads.lab.reshape(-1) for j in joints])
    assert_covariance(usual[0].pads.cov, draws)
    # Three photos of equal weight: each cause by the mean of its correlations, which 300 draws tell to a tenth only.
    texture = 1.0 if same_strip else 1 / 3
    expected = 0.6**2 / 3 + 0.3**2 * texture + 0.8**2 * ALIKE.mean() + 0.7**2 * (0.5 + 0.5 * ALIKE.mean())
    assert usual[0].pads.cov == pytest.approx(expected * np.eye(6), abs=1e-6)


def test_the_difference_of_wash_and_blank():
    """Two photos of pH 6 with errors of their own, the curve's and the calibrating phone's shared: the interval's width
    is that of the differences drawn, and covers them.
    """
    rng = np.random.default_rng(7)
    inside, values, widths = [], [], []
    for n in range(120):
        shared = 0.3 * rng.normal(size=(2, 3))
        dye = 0.7 * np.sqrt(0.5) * rng.normal(size=(2, 3))
        pair = []
        for photo in range(2):
            own = 0.6 * rng.normal(size=(2, 3)) + 0.8 * rng.normal(size=(2, 3))
            own += 0.7 * np.sqrt(0.5) * rng.normal(size=(2, 3)) + 0.2 * rng.normal(size=(1, 3))
            own += 0.1 * rng.normal(size=(2, 3))
            lab = profile().curve(np.array([6.0]))[0] + shared + dye + own
            roots = {cause: sd * np.eye(6) for cause, sd in SIZES.items()}
            pair.append(StripObservation(f"{photo}.jpg", f"{2 * n + photo:064x}", lab, roots))
        d = difference_of(*pair, profile(0.3))
        inside.append(d.interval[0] <= 0.0 <= d.interval[1])
        values.append(d.value)
        widths.append(d.interval[1] - d.interval[0])
    # The interval has Student's tails: 2.31 of its scales wide to each side (8 degrees of freedom) where a normal one
    # has 1.96, so 1.39 times the variance; and the choice of how alike the two err adds a little.
    assert_variance((np.mean(widths) / 2 / 1.96) ** 2 / 1.39, values, bend=0.2)
    assert np.mean(inside) >= 0.87  # 95 % less 4 standard errors of 120 draws: once in 10,000
