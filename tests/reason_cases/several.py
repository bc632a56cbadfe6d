"""Reasons of several photos of one liquid, and of the phone that took them."""

from dataclasses import replace

import numpy as np
import pytest

from stripread.kind import Pad, StripKind
from stripread.ph import read
from stripread.ph.buffers import Liquid
from stripread.ph.combined_reading import ObservedPhoto, _doubts_of, combine
from stripread.ph.comparison import Compared, compare
from stripread.ph.joint_posterior import Agreement, infer_joint
from stripread.ph.read import PhTrace, StripTrace
from stripread.ph.remembered.read_known import read_known
from stripread.reasons import because
from stripread.results import Comparison, PhReading, Stamp, StripReading
from stripread.strip.find import InLane, Unread
from stripread.strip.one_strip import FoundStrip
from stripread.strip.rest import Left
from stripread.strip.touching import crowded
from tests.reason_cases.row import Row
from tests.unit.ph import test_known_phone as known
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


def by_phone(off=0.0, **taken):
    """Reasons of the phone alone, of a strip whose first and last pad lie ``off`` CIELAB beside the curve."""
    learned = replace(profile(), phones=known.PHONES)
    pads = known.parted_of(learned, 6.0)
    apart = np.zeros_like(pads.lab)
    apart[0], apart[-1] = (0.0, off, -off), (0.0, -off, off)
    taken = replace(known.KNOWN, **{"share": 0.01, "curve": 0.05, **taken})
    return read_known(replace(pads, lab=pads.lab + apart), learned, taken)[2]


def in_light(away):
    """Reasons of a photo by the phone that calibrated, its light so many standard deviations of a fit from theirs."""
    light = (known.LIGHT[0] + 0.01 * away, *known.LIGHT[1:])
    found = known.match(known.Taken(known.PHONES[0].phone, light), known.FIT, known.PHONES, known.PHOTOS)
    return by_phone(known=found.known, curve=found.curve)


def foreign(y_mm):
    """Reasons of one strip in the middle of a lane, at 30 mm, with a pad's colour elsewhere that is no strip's."""
    trace = lone(InLane((), foreign=Left(36.0, y_mm)))
    read.compare_strips(trace, profile(), Liquid("known", 7.0, 0.01))
    return trace.strips[0].reasons


def unread(code):
    """Reasons of a strip with another beside it that could not be used."""
    trace = lone(InLane((), (Unread(OUTLINE + np.array([0.0, 11.0]), because(code)),)))
    read.doubt_unread(trace)
    return trace.strips[0].reasons


def lone(lane):
    """A photo with one strip whose axis lies 30 mm down the card."""
    found = FoundStrip(OUTLINE, "left", (), 1.0, 6.0, ())
    return PhTrace(lane=lane, fix="fit", strips=[StripTrace(found, estimate=toy_strip(7.0).estimate)])


def wide(width_mm, beside=0.0):
    """What speaks against a strip of a kind 6 mm wide that seems this wide, with so much colour beside its pads."""
    kind = StripKind("one", 6.0, 60.0, (Pad(2.0, 6.0),), (0.0, 14.0))
    return [because("strips_touch")] if crowded(width_mm, beside, kind) else []


OUTLINE = np.array([[40.0, 27.0], [100.0, 27.0], [100.0, 33.0], [40.0, 33.0]])
# The toy's pads are unsure by 1.2 CIELAB in each channel and move by 3 a pH: some 0.3 pH, and Student's tails of 8.
ROWS = [
    Row("known_phone", "phone and light", lambda: by_phone(known="no"), by_phone, "ok"),
    Row("known_phone_other_light", "chance 0.01", lambda: in_light(1.0), lambda: in_light(9.0), "ok"),
    Row("known_phone_differs", "2.1 sd", lambda: by_phone(off=1.0), lambda: by_phone(off=9.0), "ok"),
    Row("one_strip", "two", lambda: in_one_photo(1.0, 1.0), lambda: in_one_photo(1.0), "refused"),
    Row("comparison_dry", "4 sd", lambda: in_one_photo(1.0, 3.99), lambda: in_one_photo(1.0, 4.01), "doubtful"),
    Row("comparison_unread", "read", lambda: in_one_photo(1.0, 1.0), lambda: in_one_photo(1.0, None), "doubtful"),
    Row("comparison_kind", "above it", lambda: foreign(29.0), lambda: foreign(31.0), "doubtful", "refused"),
    Row("strip_beside_unread", "no strip", lambda: unread("no_strip"), lambda: unread("glare_on_pads"), "doubtful"),
    Row("strips_touch", "1.18 widths", lambda: wide(7.07), lambda: wide(7.09), "refused"),
    Row("strips_touch", "0.45", lambda: wide(6.0, 0.449), lambda: wide(6.0, 0.451), "refused"),
    Row("comparison_off", "chance 0.01", lambda: beside(9.0, 6.3, 7.0), lambda: beside(9.0, 6.2, 7.0), "doubtful"),
    Row("exchange_unseen", "its interval", lambda: beside(7.1, 7.0, 7.0), lambda: beside(7.6, 7.0, 7.0), "ok"),
    Row("strips_exchanged", "chance 0.01", lambda: beside(7.0, 6.3, 7.0), lambda: beside(7.0, 6.2, 7.0), "doubtful"),
    Row("photos_disagree", "chance 0.01", lambda: agreeing(0.0101, 1.0), lambda: agreeing(0.0099, 1.0), "doubtful"),
    Row("photos_disagree", "2.1 sd", lambda: agreeing(0.5, 2.09), lambda: agreeing(0.5, 2.11), "doubtful"),
    Row("left_out", "a refused one", lambda: combined(*good(2)), lambda: combined(*good(2), NEVER), "ok"),
    Row("none_left", "one left", lambda: combined(*good(), NEVER), lambda: combined(NEVER), "refused"),
    Row("sent_twice", "one hash", lambda: combined(*good(2)), lambda: combined(*good(), *good()), "ok"),
    Row("other_strips", "two strips", lambda: combined(*good()), lambda: combined(two_strips(*good())), "ok"),
]
