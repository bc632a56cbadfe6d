"""Reasons of the strip, its pads and its value: of one photo, its circumstances, and a correction by hand."""

from dataclasses import dataclass, field, replace
from datetime import datetime
from unittest.mock import patch

import numpy as np
from scipy.optimize import brentq

from service.log.correction import Correction, corrected_entry
from stripread.kind import Pad, StripKind
from stripread.ph.circumstances import Circumstances, with_circumstances
from stripread.ph.posterior import infer_ph
from stripread.ph.quality import Quality
from stripread.ph.verdicts import doubts_of_estimate
from stripread.reasons import Reason
from stripread.results import PhReading, Stamp, StripReading
from stripread.strip.find import find_strips
from stripread.strip.one_strip import _judge
from stripread.strip.pixels import PadRegion
from tests.reason_cases.row import Row
from tests.unit.ph.test_posterior import LineCurve, pads_at
from tests.unit.strip.lane_pictures import draw
from tests.unit.strip.test_find import BLUE, FOUR, GREEN, ONE, RED, ROLL, YELLOW, lying

FOUR_COLOURS = [RED, GREEN, BLUE, YELLOW]
CARRIER = (0.86, 0.87, 0.87)
PROFILE = LineCurve()


def in_lane(kind, strips, **how):
    return find_strips(draw(kind, strips, **how), kind)[0].reasons


def pale_pad(deeper):
    """One pad on no visible carrier, as faint in all channels as this share of the paper's light."""
    paper = np.array([0.88, 0.88, 0.88])
    return in_lane(ONE, [lying(ONE, [tuple(paper * (1 - deeper))], carrier=tuple(paper))], edge_shade=0.0)


def with_seen(n):
    """A four-pad strip on which n pads have a colour."""
    return in_lane(FOUR, [lying(FOUR, [*FOUR_COLOURS[:n], *[CARRIER] * (4 - n)])])


def turned(deg):
    return in_lane(FOUR, [lying(FOUR, FOUR_COLOURS, deg)])


THREE = StripKind("three", 6.0, 75.0, FOUR.pads[:3], (0.0, 14.0))


def with_stray(mm):
    """A strip of three pads with a coloured stretch of this length far from them."""
    drawn = StripKind("drawn", 6.0, 75.0, (*FOUR.pads[:3], Pad(40.0, mm)), (0.0, 14.0))
    return find_strips(draw(drawn, [lying(drawn, FOUR_COLOURS)]), THREE)[0].reasons


def explained(share):
    """Pads of which this share of the colour along the strip lies where the kind has them."""
    with patch("stripread.strip.kind_fits._share_explained", return_value=share):
        return with_seen(4)


def torn_off(mm):
    return in_lane(ROLL, [lying(ROLL, [GREEN], length_mm=mm)])


def two_coloured(mm):
    """A piece of 40 mm of green roll paper that is red for so much of it."""
    return in_lane(ROLL, [lying(ROLL, [GREEN]), lying(ROLL, [RED], length_mm=mm)])


def shaded(depth):
    """A shadow's edge across the middle of the pads."""
    return in_lane(FOUR, [lying(FOUR, FOUR_COLOURS)], shadow=(52.0, 0.0, depth))


def judged(shade=0.0, **pad):
    seen = {"glare": 0.0, "uneven": 0.0, "clipped": 0.0} | pad
    region = PadRegion(
        np.zeros((4, 2)), np.ones((2, 2), bool), (0, 0), shadow=False, score=1.0, paper_rgb=np.ones(3), **seen
    )
    return _judge([replace(region, glare=0.0, uneven=0.0), region], shade)


@dataclass(frozen=True)
class Evident(LineCurve):
    """A curve of a profile that has evidence."""

    has_evidence: bool = True
    quality: Quality = field(default_factory=lambda: Quality(0, 0))


@dataclass(frozen=True)
class Leaning(Evident):
    """A curve bent at pH 7 whose second pad tells the two branches apart a little."""

    lean: float = 0.0
    bent: bool = True

    def curve(self, ph):
        lab = super().curve(ph)
        lab[:, 0, 2] = self.lean * np.sign(np.asarray(ph) - 7.0)
        return lab


def value(**change):
    return doubts_of_estimate(replace(infer_ph(pads_at(6.0, Evident()), Evident()), **change), Evident())


def second(weight):
    """Colours of pH 5 on a bent curve; how far apart its branches lie is chosen so that pH 9 keeps this share."""

    def estimate(lean):
        return infer_ph(pads_at(5.0, Leaning(lean=lean)), Leaning(lean=lean))

    def above(lean):
        e = estimate(lean)
        return float(e.density[e.grid > 7.0].sum() / e.density.sum())

    found = brentq(lambda lean: above(lean) - weight, 0.0, 3.0, xtol=1e-6)
    return [r for r in doubts_of_estimate(estimate(found), Evident()) if r.code == "ambiguous"]


def misfit(size):
    """Colours off a straight curve, square to it, so many standard deviations of 0.5 by five degrees of freedom."""
    pads = pads_at(6.0, Evident())
    off = np.zeros((2, 3))
    off[0, 2] = 0.5 * size * np.sqrt(5.0)
    return doubts_of_estimate(infer_ph(replace(pads, lab=pads.lab + off), Evident()), Evident())


def contradicted(coverage, exchanged=0):
    """Of 15 buffers such a share in their intervals when left out: P(X <= 11) = 0.0055, P(X <= 10) = 0.0006."""
    profile = Evident(quality=Quality(15, 30, loo_coverage=coverage, exchanged=exchanged))
    return doubts_of_estimate(infer_ph(pads_at(6.0, profile), profile), profile)


def by_hand(ph):
    old = {
        "reading": {"reasons": []},
        "extras": {},
        "kind": "ph",
        "batch_id": 1,
        "photo_sha256": "a" * 64,
        "wash": 1,
        "note": "",
        "snapped_at": None,
        "id": 7,
    }
    said = Correction(by="M.", why="read by eye", wash=2, ph=ph, interval=None if ph is None else (ph - 0.5, ph))
    made = corrected_entry(old, said, 10, None).reading["reasons"]
    return [Reason(r["code"], r["severity"], r["message"]) for r in made]


KIND = StripKind("toy", 6.0, 75.0, (Pad(2.0, 6.0),), (0.0, 14.0), (10.0, 60.0))


def dipped(at=None, *, ph=3.0, taken="2026-11-25T10:05:00", **more):
    strip = StripReading(ph, (ph - 0.2, ph + 0.2))
    reading = PhReading(Stamp("a.jpg", "a" * 64, "test", 0.1, taken), ph, strip.interval, strips=(strip,))
    return with_circumstances(reading, KIND, Circumstances(at, **more)).reasons


def clock(second):
    return datetime(2026, 11, 25, 10, 5, second)


PHOTO = [
    Row("no_strip", "a pad 5 % darker than paper", lambda: pale_pad(0.06), lambda: pale_pad(0.045), "refused"),
    Row("wrong_kind", "half of the pads", lambda: with_seen(2), lambda: with_seen(1), "refused"),
    Row("wrong_kind", "turned 19 degrees", lambda: turned(18.5), lambda: turned(19.5), "refused"),
    Row("wrong_kind", "2 mm of stray colour", lambda: with_stray(1.9), lambda: with_stray(2.6), "refused"),
    Row("wrong_kind", "0.72 of it in pads", lambda: explained(0.721), lambda: explained(0.719), "refused"),
    Row("wrong_kind", "0.3 of a roll's 40 mm", lambda: torn_off(12.4), lambda: torn_off(11.6), "refused"),
    Row("wrong_kind", "0.3 in another colour", lambda: two_coloured(10.0), lambda: two_coloured(12.0), "refused"),
    Row("shadow_on_pads", "step 0.07", lambda: shaded(0.145), lambda: shaded(0.165), "refused", "doubtful"),
    Row("glare_on_pads", "0.3 left", lambda: judged(glare=0.69), lambda: judged(glare=0.71), "refused", "doubtful"),
    Row("some_glare", "half of a pad", lambda: judged(glare=0.49), lambda: judged(glare=0.51), "doubtful"),
    Row("uneven_pad", "0.3 of a pad", lambda: judged(uneven=0.29), lambda: judged(uneven=0.31), "doubtful"),
    Row("uneven_light", "step 0.035", lambda: judged(0.034), lambda: judged(0.036), "doubtful"),
]
VALUE = [
    Row("off_curve", "4 sd", lambda: misfit(3.98), lambda: misfit(4.02), "refused", "doubtful"),
    Row("near_off_curve", "2.1 sd", lambda: misfit(2.09), lambda: misfit(2.11), "doubtful"),
    Row("profile_contradicted", "11 of 15", lambda: contradicted(11 / 15), lambda: contradicted(10 / 15), "doubtful"),
    Row(
        "profile_contradicted", "a pair exchanged", lambda: contradicted(1.0), lambda: contradicted(1.0, 1), "doubtful"
    ),
    Row("ambiguous", "weight 0.05", lambda: second(0.049), lambda: second(0.051), "doubtful"),
    Row(
        "wide_interval",
        "2 pH",
        lambda: value(interval=(5.0, 6.99)),
        lambda: value(interval=(5.0, 7.01)),
        "ok",
    ),
    Row(
        "end_of_range",
        "0.02 from the lower end",
        lambda: value(interval=(0.021, 1.0)),
        lambda: value(interval=(0.019, 1.0)),
        "doubtful",
    ),
    Row(
        "end_of_range",
        "0.02 from the upper end",
        lambda: value(interval=(13.0, 13.979)),
        lambda: value(interval=(13.0, 13.981)),
        "doubtful",
    ),
    Row("by_hand", "a pH given", lambda: by_hand(None), lambda: by_hand(3.0), "ok"),
]
CIRCUMSTANCES = [
    Row("read_too_early", "10 s", lambda: dipped(10.0), lambda: dipped(9.9), "doubtful"),
    Row("read_too_late", "60 s", lambda: dipped(60.0), lambda: dipped(60.1), "doubtful"),
    Row(
        "dip_after_photo",
        "the photo's second",
        lambda: dipped(clock(0)),
        lambda: dipped(clock(1)),
        "doubtful",
        "doubtful",
    ),
    Row("no_photo_time", "seconds given", lambda: dipped(30.0, taken=None), lambda: dipped(clock(0), taken=None), "ok"),
    Row("unbuffered", "pH 5", lambda: dipped(ph=4.99, rinse=True), lambda: dipped(ph=5.01, rinse=True), "doubtful"),
    Row("unbuffered", "pH 8.5", lambda: dipped(ph=8.51, rinse=True), lambda: dipped(ph=8.49, rinse=True), "doubtful"),
    Row(
        "unbuffered",
        "60 s",
        lambda: dipped(60.0, ph=6.0, rinse=True),
        lambda: dipped(59.9, ph=6.0, rinse=True),
        "doubtful",
    ),
    Row("hot_sample", "40 °C", lambda: dipped(temperature_c=39.9), lambda: dipped(temperature_c=40.0), "doubtful"),
    Row(
        "neutral_at", "40 °C", lambda: dipped(temperature_c=40.1), lambda: dipped(temperature_c=39.9), "ok", "doubtful"
    ),
]
ROWS = [*PHOTO, *VALUE, *CIRCUMSTANCES]
