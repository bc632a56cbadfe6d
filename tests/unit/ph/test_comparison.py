"""A sample beside a comparison of known pH, on a made-up straight curve where the joint normal is worked by hand."""

import numpy as np
import pytest

from stripread.errors import CallError
from stripread.ph import comparison, difference
from stripread.ph.buffers import Liquid, liquid_of
from stripread.ph.comparison import ReadStrip, compare
from stripread.ph.observation import StripObservation
from stripread.ph.posterior import infer_ph
from stripread.strip.pads import PadSet
from tests.unit.ph.test_joint_posterior import SIZES, SLOPE, profile

NOISE, FIT, DYE = SIZES["noise"], SIZES["fit"], SIZES["foreign"]
ALL_FIT = FIT**2 * np.eye(6)  # one photo: the colour fit's error is the same for both strips
SEVEN = Liquid("known", 7.0, 0.0)


def strip(ph, error=0.0):
    """A strip at a pH with an error (6,) of its colours, its doubts those of ``SIZES``."""
    lab = profile().curve(np.array([ph]))[0] + np.reshape(error + np.zeros(6), (2, 3))
    parts = {"noise": NOISE**2, "texture": 0.0, "tone": 0.0, "light": 0.0, "correction": FIT**2 + DYE**2, "cross": 0.0}
    pads = PadSet(
        lab,
        (NOISE**2 + FIT**2 + DYE**2) * np.eye(6),
        {k: v * np.eye(6) for k, v in parts.items()},
        np.zeros((2, 4, 2)),
        (),
    )
    seen = StripObservation("", "", lab, {c: s * np.eye(6) for c, s in SIZES.items()})
    return ReadStrip(pads, seen, infer_ph(pads, profile()))


def width(estimate):
    return estimate.interval[1] - estimate.interval[0]


def test_an_error_that_both_strips_have_cancels():
    error = np.concatenate([0.9 * SLOPE[0] / 3.0, 0.9 * SLOPE[1] / 3.0])  # 0.3 pH up, for both
    sample, other = strip(7.2, error), strip(7.0, error)
    assert sample.estimate.ph == pytest.approx(7.5, abs=0.02)
    got = compare(sample, other, ALL_FIT, SEVEN, profile())
    # What is shared is most of it, but not the noise: the error is taken back by shared / (shared + own).
    common, curve = 0.2**2, 0.3**2
    shared = FIT**2 + DYE**2 + common + curve
    whole = shared + NOISE**2 + 0.1**2  # and each photo's own; the lot is in neither by more than a hundredth
    assert got.estimate.ph == pytest.approx(7.5 - 0.3 * shared / whole, abs=0.02)
    assert {r.severity for r in got.reasons} <= {"note"}
    assert got.comparison.delta_ph == pytest.approx(got.estimate.ph - 7.0)


def test_the_interval_is_that_of_the_joint_normal():
    sample, other = strip(7.0), strip(7.0)
    got = compare(sample, other, ALL_FIT, SEVEN, profile()).estimate
    lot = profile().strip.strip_cov(np.array([7.0]))[0]
    scatter, common = profile().strip.scatter_cov(), 0.2**2 * np.kron(np.ones((2, 2)), np.eye(3))
    own = (NOISE**2 + FIT**2 + DYE**2 + 0.3**2) * np.eye(6) + scatter + lot
    cross = (FIT**2 + DYE**2 + 0.3**2) * np.eye(6) + common + (1.0 - comparison.STRIP_OWN) * lot
    # of a joint normal, the covariance of one part given the other is the inverse of its block of the precision
    given = np.linalg.inv(np.linalg.inv(np.block([[own, cross], [cross, own]]))[:6, :6])
    slope = SLOPE.ravel()
    sds = [1.0 / np.sqrt(slope @ np.linalg.solve(cov, slope)) for cov in (own, given)]
    assert width(got) / width(sample.estimate) == pytest.approx(sds[1] / sds[0], rel=0.02)
    assert sum(got.budget.values()) == pytest.approx(sds[1] ** 2, rel=0.4)  # Student's tails are wider
    assert got.budget["comparison"] < 0.0


def test_intervals_hold_what_they_promise():
    inside = []
    for seed in range(200):
        rng = np.random.default_rng([seed, 15])
        shared = FIT * rng.normal(size=6) + DYE * rng.normal(size=6) + 0.3 * rng.normal(size=6)
        photo = np.tile(0.2 * rng.normal(size=3), 2)
        own = [np.hypot(NOISE, 0.1) * rng.normal(size=6) for _ in range(2)]
        got = compare(
            strip(7.3, shared + photo + own[0]), strip(7.0, shared + photo + own[1]), ALL_FIT, SEVEN, profile()
        )
        inside.append(got.estimate.interval[0] <= 7.3 <= got.estimate.interval[1])
    assert 0.91 <= np.mean(inside) <= 0.995  # 95 to 97 % promised: outside these bounds in fewer than 1 of 100 seeds


def test_where_nothing_is_shared_the_reading_is_what_it_was(monkeypatch):
    monkeypatch.setattr(difference, "ALIKE_LAB", 0.1)
    sample = strip(9.0, 0.4)
    got = compare(sample, strip(7.0, -0.5), np.zeros((6, 6)), SEVEN, profile()).estimate
    assert got.ph == pytest.approx(sample.estimate.ph, abs=1e-6)
    assert got.interval == pytest.approx(sample.estimate.interval, abs=1e-6)


def test_another_liquid_is_named_and_not_used():
    sample = strip(9.0, 0.4)
    got = compare(sample, strip(4.0), ALL_FIT, SEVEN, profile())
    assert [r.code for r in got.reasons] == ["comparison_off"]
    assert got.estimate is sample.estimate
    assert got.comparison.delta_ph == pytest.approx(sample.estimate.ph - 7.0)


def test_without_evidence_nothing_is_said_more_surely_than_strips_are_trusted():
    told = compare(strip(7.0), strip(7.0), ALL_FIT, SEVEN, profile()).comparison
    # The toy profile rests on a chart alone: half a pH to each side, whatever the colours say (ASTM D8294-21).
    assert told.delta_interval[0] <= told.delta_ph - 0.5
    assert told.delta_interval[1] >= told.delta_ph + 0.5
    assert told.same_probability < 0.9


def test_a_liquid_beyond_the_strip_s_range_tells_nothing():
    sample = strip(7.0)
    got = compare(sample, strip(14.0), ALL_FIT, Liquid("known", 14.2, 0.01), profile())
    assert [r.code for r in got.reasons] == ["comparison_unread"]
    assert got.estimate is sample.estimate
    assert got.comparison.delta_ph is None


def test_exchanged_strips_are_named_and_so_is_another_buffer_that_looks_like_them():
    got = compare(strip(7.0), strip(4.0), ALL_FIT, SEVEN, profile())
    assert [r.code for r in got.reasons] == ["strips_exchanged", "comparison_off"]


def test_strips_that_could_be_exchanged_unseen_are_told_with_what_the_sample_would_be():
    one, two = strip(7.6), strip(7.0)
    got = compare(one, two, ALL_FIT, SEVEN, profile())
    (note,) = got.reasons
    assert (note.code, note.severity) == ("exchange_unseen", "note")
    turned = compare(two, one, ALL_FIT, SEVEN, profile()).estimate.ph
    assert note.value == pytest.approx(turned, abs=0.01)
    assert turned < 6.8
    assert got.estimate.ph > 7.2


@pytest.mark.parametrize(("apart", "share"), [(0.0, 1.0), (1.5, 0.5), (3.0, 0.0)])
def test_what_is_shared_fades_out_with_the_distance(apart, share):
    estimate = strip(7.0 + apart).estimate
    assert comparison._share(estimate, 7.0) == pytest.approx(share, abs=0.06)


def test_far_from_the_comparison_the_reading_is_that_of_the_strip_by_itself():
    sample = strip(9.6, 0.4)
    assert compare(sample, strip(7.0, -0.5), ALL_FIT, SEVEN, profile()).estimate is sample.estimate


def test_water_gives_the_difference_and_leaves_the_value():
    error = np.concatenate([0.9 * SLOPE[0] / 3.0, 0.9 * SLOPE[1] / 3.0])
    sample = strip(7.1, error)
    got = compare(sample, strip(7.0, error), ALL_FIT, liquid_of("water"), profile())
    assert got.estimate is sample.estimate
    told = got.comparison
    assert (told.liquid, told.ph) == ("water", None)
    assert told.delta_ph == pytest.approx(0.1, abs=0.03)
    # of two strips that shared nothing it would be wider than either by the root of two
    assert told.delta_interval[1] - told.delta_interval[0] < 0.75 * np.sqrt(2.0) * width(sample.estimate)
    assert told.same_probability > 0.7
    far = compare(strip(8.5, error), strip(7.0, error), ALL_FIT, liquid_of("water"), profile()).comparison
    assert far.same_probability < 0.01


@pytest.mark.parametrize(
    ("text", "name", "ph", "sd"),
    [
        ("7.0", "pH 7.0", 7.0, 0.0289),  # rounded to a tenth: uniform over 0.1, its standard deviation 0.1 / sqrt(12)
        ("7", "pH 7", 7.0, 0.0289),
        ("pH 4.01", "pH 4.01", 4.01, 0.01),
        ("pH 4,01", "pH 4.01", 4.01, 0.01),
        ("phosphate 25 C", "phosphate 25 °C", 6.86, 0.01),  # JIS Z 8802, as in stripread/ph/buffers.csv
        ("Phosphate, 25 °C", "phosphate 25 °C", 6.86, 0.01),
        ("water", "water", None, 0.0),
    ],
)
def test_liquids_by_name(text, name, ph, sd):
    liquid = liquid_of(text)
    assert (liquid.name, liquid.ph) == (name, ph)
    assert liquid.sd == pytest.approx(sd, abs=0.0001)


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("vinegar", "no liquid of known pH"),
        ("15.2", "0 to 14"),
        ("phosphate", "temperature"),
        ("phosphate 300 C", "300"),
        ("", "no liquid"),
        ("nan", "no liquid"),
        ("7.0 C", "no liquid"),
    ],
)
def test_what_is_no_liquid(text, hint):
    with pytest.raises(CallError, match=hint):
        liquid_of(text)
