"""Several observations as one, on a made-up straight curve whose variances are known in closed form."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from stripread.kind import Pad, StripKind
from stripread.ph.combined_reading import ObservedPhoto, combine
from stripread.ph.curve import Lot, Scatter, StripCurve
from stripread.ph.joint_posterior import infer_joint
from stripread.ph.observation import StripObservation
from stripread.ph.profile import Profile
from stripread.ph.quality import Quality
from stripread.reasons import because
from stripread.results import PhReading, Stamp, StripReading

KIND = StripKind("toy", 6.0, 75.0, (Pad(2.0, 6.0), Pad(9.0, 6.0)), (0.0, 14.0))
SLOPE = np.array([[3.0, 0.0, 0.0], [0.0, 3.0, 0.0]])  # Lab a pH of each pad
PH = np.arange(0.0, 14.01, 0.1)
SIZES = {"noise": 0.6, "texture": 0.0, "tone": 0.0, "light": 0.0, "mixing": 0.8, "fit": 0.8, "foreign": 0.7}


def profile(curve_sd=0.3):
    lab = np.array([[50.0, 0.0, 0.0], [60.0, -20.0, 0.0]]) + PH[:, None, None] * SLOPE
    factor = np.broadcast_to(curve_sd * np.eye(6), (2, 6, 6))
    strip = StripCurve(
        PH, lab, np.array([0.0, 14.0]), factor, Scatter((0.2, 0.2, 0.2), (0.1, 0.1, 0.1)), Lot(0.03, 0.0, 0.2, 0.0)
    )
    return Profile("toy", KIND, strip, "chart only", Quality(0, 0), "line", "made up", (), "test", "2026-01-01")


def observations(ph, count, seed, sizes=SIZES, independent=True):
    """Looks whose errors are drawn as their causes say, each photo's own (or the same ones for all)."""
    rng = np.random.default_rng(seed)
    mean = profile().curve(np.array([ph]))[0]
    out = []
    for n in range(count):
        if independent or n == 0:
            lab = mean + sum(sizes[c] * rng.normal(size=(2, 3)) for c in ("noise", "fit", "foreign"))
        out.append(StripObservation(f"{n}.jpg", f"{n:064x}", lab, {c: s * np.eye(6) for c, s in sizes.items()}))
    return out


def variance(joint):
    mass = joint.estimate.density / joint.estimate.density.sum()
    return float((mass * (joint.estimate.grid - (mass * joint.estimate.grid).sum()) ** 2).sum())


def test_one_look_is_read_as_that_photo_alone():
    (one,) = observations(6.0, 1, 1)
    joint = infer_joint([one], profile(), same_strip=True)
    total = sum(SIZES[c] ** 2 for c in ("noise", "fit", "foreign"))
    assert joint.pads.cov == pytest.approx(total * np.eye(6), abs=1e-9)
    assert joint.weights == pytest.approx([1.0])
    assert joint.agreement.freedom == 0


@pytest.mark.parametrize("count", [4, 16])
def test_photos_that_say_the_same_do_not_narrow_below_what_they_share(count):
    same = observations(6.0, count, 2, independent=False)
    joint = infer_joint(same, profile(), same_strip=True)
    # all colours agree, so all of the colour fit and the dye's error is shared: only pixel noise averages
    shared = SIZES["fit"] ** 2 + SIZES["foreign"] ** 2
    assert np.diag(joint.pads.cov) == pytest.approx(shared + SIZES["noise"] ** 2 / count, rel=1e-6)
    assert joint.agreement.likeness == pytest.approx(np.ones((count, count)), abs=1e-6)


def test_independent_parts_fall_as_one_over_n_and_shared_ones_stay():
    budgets = []
    for count in (1, 2, 8):
        same = observations(6.0, count, 3, independent=False)
        joint = infer_joint(same, profile(), same_strip=False, alike=np.eye(count))
        cov = joint.pads.parts
        assert np.diag(cov["noise"]) == pytest.approx(SIZES["noise"] ** 2 / count)
        # half of a dye's own error was made by the calibrating phone and stays
        expected = SIZES["mixing"] ** 2 / count + SIZES["foreign"] ** 2 * (0.5 + 0.5 / count)
        assert np.diag(cov["correction"]) == pytest.approx(expected)
        budgets.append(joint.estimate.budget)
    for one, more in pairwise(budgets):
        assert more["noise"] < one["noise"]
        # shared by all: 0.3 Lab over two pads that move 3 Lab a pH each
        assert more["calibration"] == pytest.approx(0.3**2 / (2 * 3.0**2), rel=0.01)


def test_intervals_of_independent_photos_hold_what_they_promise():
    inside, likeness = [], []
    for seed in range(60):
        rng = np.random.default_rng([seed, 5])
        curve = 0.3 * rng.normal(size=(2, 3))  # shared by all photos of this draw
        drawn = [replace(x, lab=x.lab + curve) for x in observations(6.0, 4, [seed, 6])]
        joint = infer_joint(drawn, profile(), same_strip=False)
        low, high = joint.estimate.interval
        inside.append(low <= 6.0 <= high)
        likeness.append(joint.agreement.likeness[np.triu_indices(4, 1)].mean())
    assert np.mean(inside) >= 0.88  # 95 % promised: fewer than 53 of 60 in one of 102 seeds
    assert np.mean(likeness) < 0.5


def test_disagreeing_photos_are_doubted_and_widened():
    good = observations(6.0, 2, 7)
    apart = [good[0], replace(good[1], lab=good[1].lab + 4.0 * SLOPE)]  # the same observation four pH higher
    told = combine([seen(observation) for observation in apart], profile(), same_strip=True)
    assert "photos_disagree" in [r.code for r in told.reading.reasons]
    assert told.reading.status == "doubtful"
    calm = combine([seen(observation) for observation in good], profile(), same_strip=True)
    assert "photos_disagree" not in [r.code for r in calm.reading.reasons]
    width = [t.reading.interval[1] - t.reading.interval[0] for t in (calm, told)]
    assert width[1] > width[0]


def seen(observation, ph=6.0):
    reading = PhReading(Stamp(observation.photo, observation.sha256, "test", 0.1), ph, (ph - 0.5, ph + 0.5))
    return ObservedPhoto(replace(reading, strips=(StripReading(ph, (ph - 0.5, ph + 0.5)),)), (observation,))


def test_a_refused_photo_is_left_out_and_said():
    bad = PhReading(Stamp("bad.jpg", "b" * 64, "test", 0.1), None, None, reasons=(because("blurred"),))
    told = combine([*[seen(x) for x in observations(6.0, 2, 8)], ObservedPhoto(bad, ())], profile(), same_strip=True)
    assert told.reading.ph == pytest.approx(6.0, abs=0.6)
    (left,) = [r for r in told.reading.reasons if r.code == "left_out"]
    assert "bad.jpg" in left.message
    assert "blurred" in left.message
    parts = told.to_dict()["combined_from"]
    assert [p["used"] for p in parts] == [True, True, False]
    assert sum(p["weight"] for p in parts) == pytest.approx(1.0, abs=0.01)


def test_a_photo_given_twice_counts_once_and_nothing_left_is_refused():
    (one,) = observations(6.0, 1, 9)
    twice = combine([seen(one), seen(one)], profile(), same_strip=True)
    assert len(twice.parts) == 1
    assert "sent_twice" in [r.code for r in twice.reading.reasons]
    bad = PhReading(Stamp("bad.jpg", "b" * 64, "test", 0.1), None, None, reasons=(because("blurred"),))
    none = combine([ObservedPhoto(bad, ())], profile(), same_strip=True)
    assert none.reading.status == "refused"
    assert none.reading.ph is None
