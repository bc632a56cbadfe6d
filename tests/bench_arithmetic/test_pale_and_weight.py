"""The gates of the solid and of the weight in their words: what was seen, what is wanted, what to do next."""

import pytest

from service.bench.gates.judge import judge
from service.bench.gates.pale import judge_pale
from service.bench.gates.weight import Weighing, judge_weight
from service.bench.stages.gate_kinds import PaleBelow, WeightConstant
from tests.bench_arithmetic.test_procedure import _ph, _seen, _stage

GATE = WeightConstant(hours=1.0, within_g=0.05, within_share=0.001)


def _solid(hour, low, value, high, **more):
    return _seen(hour, {"kind": "solid", "pale_fraction": value, "pale_interval": [low, high], **more})


@pytest.mark.parametrize(
    ("seen", "state", "words"),
    [
        ([], "cannot tell", "No picture of the solid in this stage yet."),
        ([_ph(7.0, 0.2)], "cannot tell", "No picture of the solid in this stage yet."),
        ([_solid(1, 0.0, 0.0, 0.004, status="refused")], "cannot tell", "No picture of the solid in this stage yet."),
        ([_solid(1, 0.001, 0.002, 0.004)], "open", "At most 0.4% is pale (below 1.0% wanted)"),
        ([_solid(1, 0.02, 0.05, 0.09)], "hold", "5.0% is still pale (below 1.0% wanted)"),
        ([_solid(1, 0.004, 0.012, 0.03)], "cannot tell", "Between 0.4% and 3.0% is pale: too near 1.0%"),
        ([_solid(1, 0.02, 0.05, 0.09), _solid(2, 0.001, 0.002, 0.004)], "open", "At most 0.4%"),  # the last counts
        ([_solid(1, 0.001, 0.002, 0.004), _ph(7.0, 0.2, 2)], "open", "At most 0.4%"),
        ([_solid(1, 0.001, 0.002, 0.004, status="doubtful")], "cannot tell", "silver hides what is pale"),
        ([_seen(1, {"kind": "solid", "pale_fraction": 0.002, "pale_interval": None})], "cannot tell", "look twice"),
        (
            [_seen(1, {"kind": "solid", "pale_fraction": None, "pale_interval": [0.0, 0.004]})],
            "cannot tell",
            "look twice",
        ),
    ],
)
def test_the_solid(seen, state, words):
    found = judge_pale(PaleBelow(share=0.01), seen)
    assert found.state == state
    assert words in found.sentence


def _weights(*grams, scale=0.01, hours=None, **more):
    """Weighings an hour apart."""
    at = hours or range(1, 1 + len(grams))
    return [Weighing(f"2026-03-01T{h:02d}:00:00", g, scale, **more) for h, g in zip(at, grams, strict=True)]


@pytest.mark.parametrize(
    ("weighings", "state", "words"),
    [
        ([], "cannot tell", "Two weights of the same thing with drying between are needed."),
        (_weights(100.0), "cannot tell", "Two weights of the same thing"),
        (_weights(100.0, 100.0), "open", "100 g, then 100 g: constant within 0.1 g."),
        (_weights(10.0, 10.0), "open", "constant within 0.02 g"),
        (_weights(103.5, 100.0), "hold", "103.5 g, then 100 g: still losing weight (within 0.1 g wanted)."),
        (_weights(99.0, 100.0), "hold", "99 g, then 100 g: still gaining weight"),
        # What was weighed between counts too: the largest difference to the last
        (_weights(100.0, 101.0, 100.0, hours=(1, 3, 4)), "hold", "101 g, then 100 g: still losing"),
        (
            [*_weights(100.0), Weighing("2026-03-01T02:30:00", 101.0, 0.01), *_weights(100.0, hours=(3,))],
            "hold",
            "101 g, then 100 g: still losing",
        ),
        # But nothing older than the one an hour or more before
        (_weights(110.0, 100.0, 100.0), "open", "100 g, then 100 g"),
        (_weights(100.0, 100.0, scale=None), "cannot tell", "Nobody said how far the scale is right"),
        (_weights(100.0, scale=None) + _weights(100.0, hours=(2,)), "cannot tell", "0.1 g count"),
        (_weights(100.0, scale=None) + _weights(100.0, 100.0, hours=(2, 3)), "open", "constant"),  # too old to matter
        (_weights(100.0, 100.0, scale=0.2), "cannot tell", "(±0.2 g) is too coarse to tell a change of 0.1 g."),
        (_weights(100.0, 100.0, scale=0.15), "open", "constant"),  # one and a half times the change, no more
        # Of another thing, or before another lot came, nothing counts
        (_weights(100.0, 100.0, of="chloride") + _weights(90.0, hours=(3,)), "cannot tell", "Two weights of the same"),
        (_weights(90.0) + _weights(100.0, of="chloride", hours=(2,)) + _weights(90.0, hours=(3,)), "open", "90 g"),
        (_weights(90.0) + _weights(50.0, lot=True, hours=(2,)) + _weights(90.0, hours=(3,)), "cannot tell", "Two"),
        (_weights(90.0) + _weights(50.0, lot=True, hours=(2,)) + _weights(140.0, 140.0, hours=(3, 4)), "open", "140 g"),
        (_weights(10.0, 20.0, lot=True) + _weights(30.0, hours=(3,)), "cannot tell", "Two weights"),
    ],
)  # fmt: skip
def test_the_weight(weighings, state, words):
    found = judge_weight(GATE, weighings)
    assert found.state == state
    assert words in found.sentence


def test_drying_too_short():
    early = [Weighing("2026-03-01T01:00:00", 100.0, 0.01), Weighing("2026-03-01T01:30:00", 100.0, 0.01)]
    found = judge_weight(GATE, early)
    assert (found.state, found.sentence) == ("hold", "Only 0.5 h of drying between the weights; 1 h are wanted.")
    assert judge_weight(WeightConstant(hours=0.5, within_g=0.05, within_share=0.001), early).state == "open"


def test_weighings_count_in_the_order_of_their_time():
    one, two, three = _weights(103.0, 100.0, 100.0)
    assert judge(_stage("weight_constant"), [], [three, one, two]).state == "open"
    assert judge(_stage("weight_constant"), [], [two, three]).state == "open"
    assert judge(_stage("pale_below"), [_solid(2, 0.02, 0.05, 0.09), _solid(1, 0.0, 0.001, 0.002)]).state == "hold"
