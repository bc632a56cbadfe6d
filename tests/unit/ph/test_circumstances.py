"""Dip time, temperature and rinse water: what is said of them, and how wash and blank are compared."""

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from stripread.errors import CallError
from stripread.kind import Pad, StripKind
from stripread.ph.circumstances import Circumstances, dip_time, neutral_ph, waited, with_circumstances
from stripread.ph.difference import difference_of
from stripread.results import PhReading, Stamp, StripReading
from tests.unit.ph.test_joint_posterior import SIZES, observations, profile

DATA = Path(__file__).resolve().parents[2] / "data"
KIND = StripKind("toy", 6.0, 75.0, (Pad(2.0, 6.0),), (0.0, 14.0), (10.0, 60.0))
TAKEN = "2026-11-25T10:05:00"


def codes(ph=3.0, kind=KIND, taken=TAKEN, **said):
    strip = StripReading(ph, (ph - 0.2, ph + 0.2))
    reading = PhReading(Stamp("a.jpg", "a" * 64, "test", 0.1, taken), ph, strip.interval, strips=(strip,))
    done = with_circumstances(reading, kind, Circumstances(**said))
    assert done.strips[0].reasons == done.reasons
    return [r.code for r in done.reasons], done


def test_neutral_follows_the_temperature():
    # tests/data/constants.csv: computed with PHREEQC, phreeqc.dat, printed to two decimals
    with (DATA / "constants.csv").open(encoding="utf-8") as file:
        (row,) = [r for r in csv.DictReader(file) if r["quantity"].startswith("neutral pH at 25, 40, 60, 90")]
    for temp, value in zip((25, 40, 60, 90), row["value"].split(), strict=True):
        assert neutral_ph(temp) == pytest.approx(float(value), abs=0.006)


@pytest.mark.parametrize(
    ("text", "seconds"), [("35", 35.0), ("10:04:30", 30.0), ("2026-11-25T10:04:00", 60.0), ("10:05:20", -20.0)]
)
def test_dip_times(text, seconds):
    assert waited(dip_time(text), TAKEN) == seconds


def test_clocks_with_and_without_zone():
    assert waited(dip_time("10:04:30"), TAKEN + "+02:00") == 30.0
    assert waited(dip_time("2026-11-25T08:04:30+00:00"), TAKEN + "+02:00") == 30.0
    assert waited(dip_time("2026-11-25T08:04:30+00:00"), TAKEN) is None


@pytest.mark.parametrize("text", ["soon", "-5", "nan", "inf", ""])
def test_what_is_no_dip_time(text):
    with pytest.raises(CallError):
        dip_time(text)


@pytest.mark.parametrize(
    ("dipped", "expected"),
    [(5.0, ["read_too_early"]), (30.0, []), (61.0, ["read_too_late"]), (dip_time("10:06"), ["dip_after_photo"])],
)
def test_the_kinds_reading_window(dipped, expected):
    found, done = codes(dipped=dipped)
    assert found == expected
    assert done.status == ("doubtful" if expected else "ok")


def test_no_window_no_doubt_and_no_time_is_said():
    assert codes(kind=replace(KIND, read_after_s=None), dipped=500.0)[0] == []
    found, done = codes(taken=None, dipped=dip_time("10:04:30"))
    assert found == ["no_photo_time"]
    assert done.status == "ok"


@pytest.mark.parametrize(
    ("ph", "dipped", "expected"),
    [
        (6.5, None, ["unbuffered"]),
        (6.5, 30.0, ["unbuffered"]),
        (6.5, 120.0, []),
        (6.5, 900.0, ["read_too_late"]),
        (3.0, 30.0, []),
        (3.0, None, []),
    ],
)
def test_rinse_water_near_neutral_moves_slowly(ph, dipped, expected):
    assert codes(ph, dipped=dipped, rinse=True)[0] == expected


def test_a_hot_sample_is_doubted_and_neutral_is_told():
    found, done = codes(temperature_c=60.0)
    assert found == ["hot_sample"]
    assert done.to_dict()["neutral_ph"] == pytest.approx(6.51, abs=0.01)
    assert codes(temperature_c=22.0)[1].status == "ok"
    with pytest.raises(CallError):
        Circumstances(temperature_c=130.0)


def pair(ph, blank_ph, seed):
    (wash,), (blank,) = (
        observations(ph, 1, [1, *np.atleast_1d(seed)]),
        observations(blank_ph, 1, [2, *np.atleast_1d(seed)]),
    )
    return wash, replace(blank, sha256="b" * 64)


def test_what_wash_and_blank_share_cancels():
    wash, blank = pair(6.0, 6.0, 3)
    small, large = (difference_of(wash, blank, profile(sd)) for sd in (0.01, 1.5))
    width = [d.interval[1] - d.interval[0] for d in (small, large)]
    photo = sum(SIZES[c] ** 2 for c in ("noise", "fit", "foreign"))
    independent = np.sqrt(1.0 + 1.5**2 / photo)  # by how much it would widen if the curve's error did not cancel
    assert width[1] < 1.2 * width[0]
    assert independent > 1.5


def test_the_sides_and_their_probabilities():
    wash, blank = pair(4.0, 7.0, 4)
    acid = difference_of(wash, blank, profile())
    assert acid.value == pytest.approx(-3.0, abs=0.8)
    assert acid.more_acid > 0.999
    back = difference_of(blank, wash, profile())
    assert back.value == pytest.approx(-acid.value, abs=0.02)
    assert back.more_alkaline > 0.999
    assert back.differs <= 1.0 + 1e-9


def test_intervals_of_differences_hold_what_they_promise():
    inside = []
    for seed in range(40):
        truth = float(np.random.default_rng(seed).uniform(-1, 1))
        low, high = difference_of(*pair(6.0 + truth, 6.0, [seed]), profile()).interval
        inside.append(low <= truth <= high)
    assert np.mean(inside) >= 0.85  # 95 % promised: fewer than 34 of 40 in one of 295 seeds
