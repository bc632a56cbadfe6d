"""Reasons of several photos of one liquid."""

from dataclasses import replace

import numpy as np
import pytest

from stripread.ph import read
from stripread.ph.buffers import Liquid
from stripread.ph.combined_reading import ObservedPhoto, _doubts_of, combine
from stripread.ph.comparison import Compared, compare
from stripread.ph.joint_posterior import Agreement, infer_joint
from stripread.ph.read import PhTrace, StripTrace
from stripread.reasons import because
from stripread.results import Comparison, PhReading, Stamp, StripReading
from tests.reason_cases.row import Row
from tests.unit.ph.test_comparison import ALL_FIT
from tests.unit.ph.test_comparison import strip as toy_strip
from tests.unit.ph.test_joint_posterior import observations, profile, seen

REFUSED = PhReading(Stamp("bad.jpg", "b" * 64, "test", 0.1), None, None, reasons=(because("blurred"),))
NEVER = ObservedPhoto(REFUSED, ())


def combined(*photos, same_strip=True):
    return combine(photos, profile(), same_strip=same_strip).reading.reasons


def good(count=1):
    return [seen(observation) for observation in observations(6.0, count, 8)]


def agreeing(chance, colours):
    joint = infer_joint(observations(6.0, 2, 8), profile(), same_strip=True)
    return _doubts_of(replace(joint, agreement=Agreement(3.0, 1, chance, colours, np.eye(2))))


def two_strips(photo):
    """The photo again, with a second strip in its lane that was refused."""
    (one,) = photo.reading.strips
    return replace(photo, reading=replace(photo.reading, strips=(one, StripReading(None, None))))


def beside(sample, other, known):
    """Reasons of a sample beside a comparison on the toy curve: their pH, and the one it should have."""
    return compare(toy_strip(sample), toy_strip(other), ALL_FIT, Liquid("known", known, 0.01), profile()).reasons


def in_one_photo(*misfits):
    """Reasons of the first of strips in one photo, compared with the last; the misfit of each, None for one refused."""
    trace = PhTrace(fix=None)
    trace.strips = [
        StripTrace(None, estimate=None if misfit is None else replace(toy_strip(7.0).estimate, misfit=misfit))
        for misfit in misfits
    ]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(read, "observe_strip", lambda *_: None)
        patch.setattr(read, "fit_errors_shared", lambda *_: ALL_FIT)
        patch.setattr(read, "compare", lambda sample, *_: Compared(sample.estimate, Comparison("known", 7.0), ()))
        trace.fix = "fit"
        for strip in trace.strips:
            strip.samples, strip.pads = "samples", toy_strip(7.0).pads
        read.compare_strips(trace, profile(), Liquid("known", 7.0, 0.01))
    return trace.strips[0].reasons


# The toy's pads are unsure by 1.2 CIELAB in each channel and move by 3 a pH: some 0.3 pH, and Student's tails of 8.
ROWS = [
    Row("one_strip", "two", lambda: in_one_photo(1.0, 1.0), lambda: in_one_photo(1.0), "refused"),
    Row("comparison_unread", "4 sd", lambda: in_one_photo(1.0, 3.99), lambda: in_one_photo(1.0, 4.01), "doubtful"),
    Row("comparison_off", "chance 0.01", lambda: beside(9.0, 6.3, 7.0), lambda: beside(9.0, 6.2, 7.0), "doubtful"),
    Row("strips_exchanged", "chance 0.01", lambda: beside(7.0, 6.3, 7.0), lambda: beside(7.0, 6.2, 7.0), "doubtful"),
    Row("photos_disagree", "chance 0.01", lambda: agreeing(0.0101, 1.0), lambda: agreeing(0.0099, 1.0), "doubtful"),
    Row("photos_disagree", "2.1 sd", lambda: agreeing(0.5, 2.09), lambda: agreeing(0.5, 2.11), "doubtful"),
    Row("left_out", "a refused one", lambda: combined(*good(2)), lambda: combined(*good(2), NEVER), "ok"),
    Row("none_left", "one left", lambda: combined(*good(), NEVER), lambda: combined(NEVER), "refused"),
    Row("sent_twice", "one hash", lambda: combined(*good(2)), lambda: combined(*good(), *good()), "ok"),
    Row("other_strips", "two strips", lambda: combined(*good()), lambda: combined(two_strips(*good())), "ok"),
]
