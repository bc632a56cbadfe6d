"""Reasons of an unused strip that is described."""

import numpy as np

from stripread.card.layout import layout
from stripread.describe.doubts import doubts_of_strip
from stripread.describe.measure import Measure, MeasuredPad, MeasuredStrip
from stripread.kind import Pad, StripKind
from stripread.strip.lane import lane_map
from tests.reason_cases.row import Row
from tests.unit.strip.lane_pictures import Drawn, draw
from tests.unit.strip.test_find import FOUR, RED

EMPTY = lane_map(draw(FOUR, []), layout())
FAR = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])


def strip(*pads, end_sd=0.1, size_sd=0.1, length=70.0, contrast=0.5, roll=False):
    """A strip with these pads, (offset, length) mm, and these standard deviations."""
    made = tuple(
        MeasuredPad(
            Measure(a, 0.1), Measure(n, 0.1), Measure(6.0, 0.1), contrast, 99.0, Measure(a, 0.1), Measure(a + n, 0.1)
        )
        for a, n in pads
    )
    start, stop = Measure(0.0, end_sd), Measure(length, size_sd)
    return MeasuredStrip(start, stop, Measure(6.0, size_sd), 0.0, made, np.ones(3), roll)


def said(of, doubts=None, lane=EMPTY):
    return doubts_of_strip(lane, of, FAR, doubts or [None] * len(of.pads))


def beside(mm):
    """Something red this long (mm) that lies in the lane, 6 mm wide, and no part of the strip."""
    kind = StripKind("crumb", 6.0, mm, (Pad(0.0, mm),), (0.0, 14.0))
    lane = lane_map(draw(kind, [Drawn((60.0, 37.0), 0.0, [RED])], edge_shade=0.0), layout())
    return said(strip((2.0, 5.0)), lane=lane)


PALE = [None, "it hardly differs from the carrier"]
ONE, TWO = strip((2.0, 5.0)), strip((2.0, 5.0), (9.0, 5.0))
ROWS = [
    Row("pads_unsure", "one pad that is doubted", lambda: said(TWO), lambda: said(TWO, PALE), "doubtful"),
    Row(
        "dipped_end_unsure",
        "0.175 mm",
        lambda: said(strip((2.0, 5.0), end_sd=0.17)),
        lambda: said(strip((2.0, 5.0), end_sd=0.18)),
        "doubtful",
    ),
    Row(
        "pads_miscounted",
        "one pad fewer than counted",
        lambda: doubts_of_strip(EMPTY, TWO, FAR, [None, None], 2),
        lambda: doubts_of_strip(EMPTY, TWO, FAR, [None, None], 3),
        "doubtful",
    ),
    Row(
        "no_pads_seen",
        "12 % of the paper's light",
        lambda: said(strip((0.0, 70.0), roll=True, contrast=0.121)),
        lambda: said(strip((0.0, 70.0), roll=True, contrast=0.119), ["nothing stands out"]),
        "doubtful",
    ),
    Row(
        "pad_may_hide",
        "room for a pad and two gaps: 0.9 of 5 mm and twice 2 mm",
        lambda: said(strip((2.0, 5.0), (9.0, 5.0), (16.0, 5.0), (29.4, 5.0))),
        lambda: said(strip((2.0, 5.0), (9.0, 5.0), (16.0, 5.0), (29.6, 5.0))),
        "doubtful",
    ),
    Row(
        "strip_size_unsure",
        "0.35 mm",
        lambda: said(strip((2.0, 5.0), size_sd=0.33)),
        lambda: said(strip((2.0, 5.0), size_sd=0.36)),
        "doubtful",
    ),
    Row(
        "strip_turned_round",
        "the middle",
        lambda: said(strip((4.0, 5.0), (10.0, 5.0), length=19.5)),
        lambda: said(strip((4.4, 5.0), (10.5, 5.0), length=19.5)),
        "doubtful",
    ),
    Row("strip_not_alone", "8 mm² of clear colour", lambda: beside(0.2), lambda: beside(3.0), "doubtful"),
]
