"""Several observations as one: likeness, agreement, shares and covariances small enough to be worked out by hand."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import t as student

from stripread.ph.curve import Lot, Scatter, StripCurve
from stripread.ph.joint_posterior import (
    CALIBRATING_PHONE,
    CAUSES,
    DISAGREE,
    Agreement,
    _block,
    _correlation,
    _correlations,
    _of_mean,
    _pad_set,
    _weights,
    infer_joint,
    likeness,
)
from stripread.ph.observation import StripObservation
from tests.unit.ph.test_joint_posterior import PH, SIZES, observations, profile

FLAT = np.zeros((1, 3))


def _observation(name, lab, **variances):
    """One pad, or several; a variance is one number for all colours, or a row of them."""
    size = np.asarray(lab).size
    roots = {cause: np.diag(np.sqrt(np.broadcast_to(v, size))) for cause, v in variances.items()}
    return StripObservation(f"{name}.jpg", name, np.asarray(lab), {c: np.zeros((size, size)) for c in SIZES} | roots)


def _exact(curve_factor=None, lot=Lot(0.0, 0.0, 0.0, 0.0), scatter=Scatter((0.0,) * 3, (0.0,) * 3)):  # noqa: B008 - frozen
    """The straight profile with doubts of one's choice; slopes of 3 in L* of pad 1 and in a* of pad 2."""
    known = profile()
    factor = np.broadcast_to(np.zeros((6, 6)) if curve_factor is None else curve_factor, (2, 6, 6))
    return replace(known, strip=StripCurve(PH, known.strip.lab, np.array([0.0, 14.0]), factor, scatter, lot))


def _pair(length, other=None):
    """Two photos whose colours lie so far apart. Alone 12 of different strips, 2 of one; what they may share 10."""
    doubts = {"noise": 1.5, "texture": 3.0, "own": 4.0, "fit": 1.0, "foreign": 3.0, "common": 2.0}
    less = {"noise": 0.5, "texture": 1.0, "own": 2.0, "fit": 1.0, "foreign": 1.0, "common": 2.0}
    step = np.array([[1.0, 2.0, 2.0]]) / 3.0
    pair = [_observation("a", FLAT, **doubts), _observation(other or "b", FLAT + length * step, **less)]
    return pair, [o.roots for o in pair]


@pytest.mark.parametrize(
    ("square", "same_strip", "r"),
    [
        (51.0, False, 0.5),  # three colours: 1 - (51 - 3 x 12) / (3 x 10)
        (36.0, False, 1.0),
        (66.0, False, 0.0),
        (90.0, False, 0.0),  # never below 0
        (0.0, False, 1.0),  # nor above 1
        (21.0, True, 0.5),  # 1 - (21 - 3 x 2) / 30
        (6.0, True, 1.0),
        (51.0, True, 0.0),
    ],
)
def test_how_alike_two_photos_err(square, same_strip, r):
    pair, roots = _pair(np.sqrt(square))
    assert likeness(pair, roots, same_strip=same_strip) == pytest.approx(np.array([[1.0, r], [r, 1.0]]), abs=1e-9)


def test_colours_that_are_known_better_tell_more_of_it():
    # Alone 1, 1, 1, shared 1, 1, 3, squares 1, 1, 4: 1 - (1/2 + 1/2 + 4/4 - 1/2 - 1/2 - 1/4) / (1/2 + 1/2 + 3/4).
    doubts = {"noise": 0.5, "texture": 0.0, "own": 0.0, "fit": [0.5, 0.5, 1.5], "foreign": 0.0, "common": 0.0}
    pair = [_observation("a", FLAT, **doubts), _observation("b", [[1.0, -1.0, 2.0]], **doubts)]
    assert likeness(pair, [o.roots for o in pair], same_strip=False)[0, 1] == pytest.approx(4 / 7)


def test_two_strips_in_one_photo_err_alike():
    pair, roots = _pair(9.0, other="a")
    assert likeness(pair, roots, same_strip=False) == pytest.approx(np.ones((2, 2)))


def test_each_pair_has_its_own_likeness():
    # Alone 2, shared 10 of each pair; a to b 21 (0.5), b to c 27 (0.3), a to c, at right angles, 48 (0 by the limit).
    doubts = {"noise": 1.0, "texture": 0.0, "own": 0.0, "fit": 5.0, "foreign": 0.0, "common": 0.0}
    rows = np.array([[[0.0, 0, 0]], [[np.sqrt(21.0), 0, 0]], [[np.sqrt(21.0), np.sqrt(27.0), 0]]])
    three = [_observation(name, lab, **doubts) for name, lab in zip("abc", rows, strict=True)]
    found = likeness(three, [o.roots for o in three], same_strip=False)
    assert found == pytest.approx(np.array([[1.0, 0.5, 0.0], [0.5, 1.0, 0.3], [0.0, 0.3, 1.0]]), abs=1e-9)


def test_a_correlation_matrix_stays_one():
    fine = np.array([[1.0, 0.5, 0.2], [0.5, 1.0, 0.3], [0.2, 0.3, 1.0]])
    assert _correlation(fine) == pytest.approx(fine)
    # Eigenvalues 1 + root 2, 1, 1 - root 2 < 0. Without the last one, by hand:
    mended = _correlation(np.array([[1.0, 1.0, 0.0], [1.0, 1.0, 1.0], [0.0, 1.0, 1.0]]))
    root = np.sqrt(2.0)
    end, middle, side, far = (3 + root) / 4, (1 + root) / 2, (1 + root) * root / 4, (root - 1) / 4
    a, b = side / np.sqrt(end * middle), far / end
    assert mended == pytest.approx(np.array([[1.0, a, b], [a, 1.0, a], [b, a, 1.0]]))


def test_what_observations_share():
    like = np.array([[1.0, 0.4], [0.4, 1.0]])
    none, full = np.eye(2), np.ones((2, 2))
    half = np.array([[1.0, CALIBRATING_PHONE + (1 - CALIBRATING_PHONE) * 0.4]] * 2)
    half[1] = half[1, ::-1]
    for same_strip, strip in ((True, full), (False, none)):
        expected = {"noise": none, "texture": strip, "fit": like, "foreign": half, "common": like, "own": strip}
        found = _correlations(like, same_strip)
        assert set(found) == set(expected)
        for cause, matrix in expected.items():
            assert found[cause] == pytest.approx(matrix), cause


def test_weights_covariance_of_a_mean_and_of_all_together_by_hand():
    # Variances of 1 and 4: weights 0.8 and 0.2. Of the mean 0.8^2 + 2 r 0.8 x 0.2 x 2 + 0.2^2 x 4 = 0.8 + 0.64 r.
    roots = [{c: (r if c == "noise" else 0.0) * np.eye(3) for c in CAUSES} for r in (1.0, 2.0)]
    weights = _weights(roots)
    assert weights == pytest.approx(np.array([0.8 * np.eye(3), 0.2 * np.eye(3)]))
    shared = np.array([[1.0, 0.5], [0.5, 1.0]])
    noise = [r["noise"] for r in roots]
    assert _of_mean(noise, weights, shared) == pytest.approx(1.12 * np.eye(3))
    block = _block(noise, shared)
    assert block == pytest.approx(np.kron(np.array([[1.0, 1.0], [1.0, 4.0]]), np.eye(3)))


def test_the_mean_as_pads():
    values = {"noise": 1.0, "texture": 2.0, "tone": 3.0, "light": 4.0, "mixing": 5.0, "fit": 20.0, "foreign": 30.0}
    pads = _pad_set(FLAT, {cause: value * np.eye(3) for cause, value in values.items()})
    assert pads.cov == pytest.approx(53.0 * np.eye(3))
    parts = {"noise": 1.0, "texture": 2.0, "tone": 3.0, "light": 4.0, "correction": 35.0, "cross": 8.0}
    assert {cause: part[0, 0] for cause, part in pads.parts.items()} == parts
    assert np.sum(list(pads.parts.values()), axis=0) == pytest.approx(pads.cov)


@pytest.mark.parametrize(("same_strip", "strip"), [(True, 0.0), (False, 2 * 0.25)])
@pytest.mark.parametrize("apart", [0.3, 1.5])
def test_two_photos_agree_or_not_by_hand(apart, same_strip, strip):
    """Their difference has twice the noise and fit of each, half of twice the dye's, of two strips the texture too."""
    sizes = SIZES | {"texture": 0.5}
    one, two = observations(6.0, 2, 1, sizes, independent=False)
    known = _exact()
    step = known.curve(np.array([7.0]))[0] - known.curve(np.array([6.0]))[0]
    found = infer_joint([one, replace(two, lab=two.lab + apart * step)], known, same_strip=same_strip).agreement
    variance = 2 * 0.6**2 + 2 * 0.8**2 + 2 * (1 - CALIBRATING_PHONE) * 0.7**2 + strip
    assert found.chi_square == pytest.approx(apart**2 * 18.0 / variance)
    assert found.freedom == 1
    assert found.chance == pytest.approx(2 * student.sf(np.sqrt(found.chi_square), 8))
    assert found.colours == pytest.approx(np.sqrt(apart**2 * 18.0 / variance / 6))


def test_three_photos_agree_or_not_by_hand():
    """Noise alone: the chi-square is the sum of squared deviations from their mean, over the variance."""
    known = _exact()
    lab, step = known.curve(np.array([6.0]))[0], known.curve(np.array([7.0]))[0] - known.curve(np.array([6.0]))[0]
    three = [_observation(str(n), lab + d * step, noise=0.25) for n, d in enumerate((0.0, 0.1, 0.35))]
    found = infer_joint(three, known, same_strip=True, alike=np.eye(3)).agreement
    assert found.freedom == 2
    assert found.chi_square == pytest.approx((0.15**2 + 0.05**2 + 0.2**2) * 18.0 / 0.25)
    # Fisher's distribution of 2 and 8 degrees of freedom in closed form.
    assert found.chance == pytest.approx((1.0 + found.chi_square / 8.0) ** -4)


def test_photos_at_odds_are_stretched_until_they_fit():
    pair = observations(6.0, 2, 7)
    known = profile()
    step = known.curve(np.array([10.0]))[0] - known.curve(np.array([6.0]))[0]
    far = [pair[0], replace(pair[1], lab=pair[1].lab + step)]
    joint = infer_joint(far, known, same_strip=True, alike=np.eye(2))
    calm = infer_joint(pair, known, same_strip=True, alike=np.eye(2))
    stretch = joint.agreement.stretch
    assert calm.agreement.stretch == 1.0
    assert stretch == pytest.approx(joint.agreement.chi_square)
    assert stretch > 5.0
    assert joint.pads.cov == pytest.approx(stretch * calm.pads.cov)
    assert joint.agreement.likeness == pytest.approx(np.eye(2))
    # What photos scatter by about the curve is stretched with them, the lot is not.
    lot = known.strip.strip_cov(np.array([joint.estimate.ph]))[0]
    assert joint.estimate.budget["noise"] / joint.estimate.budget["correction"] == pytest.approx(
        calm.estimate.budget["noise"] / calm.estimate.budget["correction"], rel=1e-6
    )
    assert joint.estimate.budget["strip_lot"] > 2.0 * calm.estimate.budget["strip_lot"]
    assert lot.trace() > 0.0


def test_agreement_is_stretched_only_where_chance_is_small():
    def stretch(chi, freedom, chance):
        return Agreement(chi, freedom, chance, 0.0, np.eye(2)).stretch

    assert stretch(9.0, 2, 0.9 * DISAGREE) == 4.5
    assert stretch(9.0, 2, DISAGREE) == 1.0
    assert stretch(9.0, 2, 1.1 * DISAGREE) == 1.0
    assert stretch(1.0, 2, 0.9 * DISAGREE) == 1.0
    assert stretch(0.0, 0, 0.0) == 1.0


def test_shares_follow_what_the_value_rests_on():
    """Pad 1 has variances of 1 and 2, pad 2 of 4 and 2: of their means 2/3 and 4/3, shares of photo 1 2/3 and 1/3.

    The curve adds 1/3 and 2/3, the lot's lightness 1 to pad 1, whose L* tells pH: both pads come to 2 and count alike,
    photo 1 for (2/3 + 1/3) / 2. Without the lot pad 1 counts twice: (2 x 2/3 + 1/3) / 3.
    """
    factor = np.diag(np.sqrt([1 / 3] * 3 + [2 / 3] * 3))
    for lightness, share in ((1.0, 1 / 2), (0.0, 5 / 9)):
        known = _exact(factor, Lot(0.0, 0.0, lightness, 0.0))
        lab = known.curve(np.array([6.0]))[0]
        pair = [_observation("a", lab, noise=[1, 1, 1, 4, 4, 4]), _observation("b", lab, noise=2.0)]
        joint = infer_joint(pair, known, same_strip=True, alike=np.eye(2))
        assert joint.weights == pytest.approx([share, 1 - share], rel=1e-4)


@pytest.mark.parametrize("same_strip", [True, False])
def test_what_strips_scatter_by_is_left_in_the_mean_as_far_as_they_share_it(same_strip):
    known = _exact(scatter=Scatter((0.0,) * 3, (0.6, 0.6, 0.6)))
    lab = known.curve(np.array([6.0]))[0]
    four = [_observation(str(n), lab, noise=0.25) for n in range(4)]
    budget = infer_joint(four, known, same_strip=same_strip, alike=np.eye(4)).estimate.budget
    # Per colour 0.36, of four strips a quarter, over two slopes of 3: 18. Noise 0.25 / 4 beside it.
    ratio = budget["strip_lot"] / budget["noise"]
    assert ratio == pytest.approx((0.36 if same_strip else 0.09) / 0.0625, rel=1e-6)


@pytest.mark.parametrize("alike", [0.0, 1.0])
def test_what_photos_scatter_by_follows_their_likeness(alike):
    known = _exact(scatter=Scatter((0.6, 0.0, 0.0), (0.0,) * 3))
    lab = known.curve(np.array([6.0]))[0]
    four = [_observation(str(n), lab, noise=0.25) for n in range(4)]
    like = np.full((4, 4), alike) + (1 - alike) * np.eye(4)
    budget = infer_joint(four, known, same_strip=True, alike=like).estimate.budget
    left = 0.36 * (0.25 + 0.75 * alike)
    # Both pads' L* move together by it: pad 2's L*, which does not follow pH, tells part of it, the rest lies on pad 1.
    S = np.array([[left + 0.0625, left], [left, left + 0.0625]])
    a = np.array([[3.0, 0.0]])  # slopes of both L*; pad 2's a* adds 3 by itself
    w = np.linalg.solve(S, a[0])
    total = a[0] @ w + 9.0 / 0.0625
    w, v = w / total, 3.0 / 0.0625 / total
    scatter = left * (w.sum() ** 2)
    noise = 0.0625 * (w @ w + v * v)
    assert budget["strip_lot"] / budget["noise"] == pytest.approx(scatter / noise, rel=1e-6)


def test_no_observation_is_an_error():
    with pytest.raises(ValueError, match="no observation"):
        infer_joint([], profile(), same_strip=True)
