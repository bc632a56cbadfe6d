"""Doubts about a pH: a width is honest; one that says less than the eye does is told of in a note."""

import pytest

from stripread.ph.posterior import infer_ph
from stripread.ph.quality import Quality
from stripread.ph.verdicts import doubts_of_estimate
from tests.unit.ph.test_posterior import LineCurve, pads_at


@pytest.mark.parametrize(("sd", "told"), [(0.9, False), (2.2, False), (4.0, True)])
def test_a_width_is_told_of_beyond_one_unit_to_each_side(sd, told):
    class OnePad(LineCurve):
        has_evidence = True
        quality = Quality(0, 0)

    curve = OnePad()
    estimate = infer_ph(pads_at(7.0, curve, sd=sd), curve)
    low, high = estimate.interval
    assert (high - low > 2.0) == told
    assert ("wide_interval" in {r.code for r in doubts_of_estimate(estimate, curve)}) == told
