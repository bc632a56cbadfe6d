"""No interval is narrower than the evidence behind its profile: half a pH to each side without any (ASTM D8294-21)."""

from dataclasses import dataclass, replace

import pytest

from stripread.ph.posterior import infer_ph
from stripread.ph.verdicts import evident_interval
from tests.unit.ph.test_posterior import LineCurve, pads_at


@dataclass(frozen=True)
class Known(LineCurve):
    """A line with or without evidence of its own."""

    has_evidence: bool = True


ESTIMATE = replace(infer_ph(pads_at(6.0, LineCurve()), LineCurve()), ph=6.0)


@pytest.mark.parametrize(
    ("read", "proven", "unproven"),
    [
        ((5.9, 6.1), (5.9, 6.1), (5.5, 6.5)),
        ((5.2, 6.1), (5.2, 6.1), (5.2, 6.5)),
        ((5.2, 6.9), (5.2, 6.9), (5.2, 6.9)),
        ((-0.3, 14.2), (0.0, 14.0), (0.0, 14.0)),  # the strip's range
    ],
)
def test_the_evidence_counts(read, proven, unproven):
    estimate = replace(ESTIMATE, interval=read)
    assert evident_interval(estimate, Known()) == proven
    assert evident_interval(estimate, Known(has_evidence=False)) == unproven


def test_at_an_end_of_the_range():
    near = replace(ESTIMATE, ph=13.8, interval=(13.7, 13.9))
    assert evident_interval(near, Known(has_evidence=False)) == pytest.approx((13.3, 14.0))
