"""Doubts about a pH: a width is honest until it says less than the eye does."""

import pytest

from stripread.ph.posterior import infer_ph
from stripread.ph.verdicts import doubts_of_estimate
from tests.unit.ph.test_posterior import LineCurve, pads_at


@pytest.mark.parametrize(("sd", "doubted"), [(0.9, False), (2.2, False), (4.0, True)])
def test_a_width_is_doubted_beyond_one_unit_to_each_side(sd, doubted):
    class OnePad(LineCurve):
        has_evidence = True

    curve = OnePad()
    estimate = infer_ph(pads_at(7.0, curve, sd=sd), curve)
    low, high = estimate.interval
    assert (high - low > 2.0) == doubted
    assert ("wide_interval" in {r.code for r in doubts_of_estimate(estimate, curve)}) == doubted
