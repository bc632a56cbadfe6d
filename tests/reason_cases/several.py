"""Reasons of several photos of one liquid."""

from dataclasses import replace

import numpy as np

from stripread.ph.combined_reading import ObservedPhoto, _doubts_of, combine
from stripread.ph.joint_posterior import Agreement, infer_joint
from stripread.reasons import because
from stripread.results import PhReading, Stamp, StripReading
from tests.reason_cases.row import Row
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


ROWS = [
    Row("photos_disagree", "chance 0.01", lambda: agreeing(0.0101, 1.0), lambda: agreeing(0.0099, 1.0), "doubtful"),
    Row("photos_disagree", "2.1 sd", lambda: agreeing(0.5, 2.09), lambda: agreeing(0.5, 2.11), "doubtful"),
    Row("left_out", "a refused one", lambda: combined(*good(2)), lambda: combined(*good(2), NEVER), "ok"),
    Row("none_left", "one left", lambda: combined(*good(), NEVER), lambda: combined(NEVER), "refused"),
    Row("sent_twice", "one hash", lambda: combined(*good(2)), lambda: combined(*good(), *good()), "ok"),
    Row("other_strips", "two strips", lambda: combined(*good()), lambda: combined(two_strips(*good())), "ok"),
]
