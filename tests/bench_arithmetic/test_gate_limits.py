"""Gates of the solid and the weight just inside and just outside each limit: the end of the interval counts."""

import pytest

from service.bench.gates.copper import Metal
from service.bench.gates.judge import Surroundings, judge
from tests.bench_arithmetic.test_procedure import ENOUGH, SHOWN, _ph, _seen, _stage, _tint, _weight


@pytest.mark.parametrize(
    ("low", "value", "high", "state"),
    [
        (0.001, 0.005, 0.01, "open"),
        (0.001, 0.005, 0.0101, "cannot tell"),  # the value alone would open
        (0.01, 0.015, 0.02, "cannot tell"),
        (0.0101, 0.015, 0.02, "hold"),
    ],
)
def test_pale(low, value, high, state):
    reading = {"kind": "solid", "pale_fraction": value, "pale_interval": [low, high]}
    assert judge(_stage("pale_below", share=0.01), [_seen(1, reading)]).state == state


@pytest.mark.parametrize(("status", "state"), [("doubtful", "cannot tell"), ("refused", "open")])
def test_a_doubtful_picture_never_opens_and_a_refused_one_leaves_the_one_before(status, state):
    clean = {"kind": "solid", "pale_fraction": 0.002, "pale_interval": [0.001, 0.004]}
    assert judge(_stage("pale_below"), [_seen(1, clean), _seen(2, {**clean, "status": status})]).state == state


@pytest.mark.parametrize(
    ("first", "second", "scale", "state"),
    [
        (100.09, 100.0, 0.01, "open"),  # a thousandth of the mass: 0.1 g
        (100.11, 100.0, 0.01, "hold"),
        (99.89, 100.0, 0.01, "hold"),  # a gain is no constant weight either
        (10.019, 10.0, 0.01, "open"),  # where a thousandth is less, twice the scale's doubt
        (10.021, 10.0, 0.01, "hold"),
        (10.049, 10.0, 0.05, "open"),  # 0.05 g at most
        (10.051, 10.0, 0.05, "hold"),
    ],
)
def test_weight(first, second, scale, state):
    weighings = [_weight(first, 1, scale), _weight(second, 3, scale)]
    assert judge(_stage("weight_constant"), [], weighings).state == state


@pytest.mark.parametrize(("hours", "state"), [(2.0, "open"), (2.01, "hold")])
def test_hours_of_drying(hours, state):
    found = judge(_stage("weight_constant", hours=hours), [], [_weight(100.0, 1), _weight(100.0, 3)])
    assert found.state == state


@pytest.mark.parametrize(("scale", "state"), [(0.149, "open"), (0.151, "cannot tell")])
def test_a_scale_too_coarse_for_a_change_of_a_tenth_of_a_gram(scale, state):
    """Half the width of its doubt, on the worse of the two weighings: 1.5 times the change at most."""
    for scales in ((scale, 0.01), (0.01, scale)):
        weights = [_weight(100.0, hour, own) for hour, own in zip((1, 3), scales, strict=True)]
        assert judge(_stage("weight_constant"), [], weights).state == state


@pytest.mark.parametrize(("limits", "state"), [((9.9, 9.9), "open"), ((9.9, 10.1), "hold"), ((10.1, 9.9), "hold")])
def test_what_hides_in_the_metal(limits, state):
    # 10 mg/L in 0.4 L over 200 g is 20 mg/kg; the worse of the two washes counts
    entries = [_tint("none seen", hour, limit=limit) for hour, limit in zip((1, 2), limits, strict=True)]
    assert judge(_stage("tint_none", ppm=20.0), entries, around=Surroundings(Metal(200.0, 0.4))).state == state


@pytest.mark.parametrize(
    ("status", "state"),
    [(("ok", "ok"), "open"), (("ok", "doubtful"), "cannot tell"), (("doubtful", "ok"), "cannot tell")],
)
def test_a_doubtful_strip_does_not_show_that_a_wash_was_acid(status, state):
    """Copper stays in solution below pH 5.2: only there does a clear liquid clear the solid too."""
    taken = {**SHOWN, "wash": "unknown"}
    entries = [_ph(4.0, 0.3, hour, status=one) for hour, one in zip((1, 2), status, strict=True)]
    entries += [_tint("none seen", hour, taken=taken) for hour in (1, 2)]
    assert judge(_stage("tint_none"), entries, around=ENOUGH).state == state


def test_a_strip_read_after_the_last_test_is_no_test():
    tests = [_tint("none seen", hour) for hour in (1, 2)]
    for last in (_ph(7.0, 0.3, 3, blank=True), _ph(4.0, 0.3, 3)):
        assert judge(_stage("tint_none"), [*tests, last], around=ENOUGH).state == "open"
