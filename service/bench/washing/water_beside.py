"""The rinse water's own pH from strips that were laid beside a wash's: counts once two washes agree on it.

A second strip may have been dipped in the wash, too; both would read alike, and the wash would seem to be its water.
So it takes strips beside two washes: one that differed from its wash for sure, so that it was in another liquid, and
the newest, that surely reads what that one did. Wide intervals agree with everything, and prove nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from service.bench.readings import LoggedComparison, LoggedPh, Observation
from service.bench.washing.course import plausible_water
from stripread.words import _

SURELY = 1.0  # pH: against the rinse water, what is left of acid or lye lies below 1e-4 mol/L
Beside = tuple[Observation, LoggedComparison]


def water_beside(seen: Sequence[Observation]) -> LoggedPh | str | None:
    """The water's reading; why the strips beside washes give none; None where no wash has one.

    Parameters
    ----------
    seen
        Readings of washes, in the order in which they were taken; doubtful and refused ones do not count.
    """
    found = strips_in_water(seen)
    if not found:
        return None
    last, other = found[-1]
    earlier = [(o, beside) for o, beside in found if o.wash != last.wash and _differs(beside)]
    if not earlier:
        return _(
            "Nothing proves yet that the strips beside the washes' were in the rinse water: none "
            "differed from its wash for sure. Read the rinse water by itself."
        )
    before, one = earlier[-1]
    assert one.interval is not None
    assert other.interval is not None
    if not _overlap(one.interval, other.interval):
        return _(
            "The rinse water reads {interval} beside wash {wash} and {interval2} beside wash {wash2}: "
            "dip a strip in fresh water.",
            interval=_words(one.interval),
            wash=before.wash,
            interval2=_words(other.interval),
            wash2=last.wash,
        )
    if not _surely_alike(one.interval, other.interval):
        return _("The strips in the rinse water are too unsure to agree: read the rinse water by itself.")
    low, high = other.interval
    middle = (low + high) / 2.0
    if not plausible_water((low, high)):
        return _("The rinse water's own pH {middle:.1f} is no plausible water: read it again.", middle=middle)
    return LoggedPh(ph=middle, interval=(low, high))


def strips_in_water(seen: Sequence[Observation]) -> list[Beside]:
    """Readings of washes with a strip in the rinse water beside theirs, and what that said."""
    found = []
    for o in seen:
        reading = o.reading
        if o.blank or not isinstance(reading, LoggedPh) or reading.refused or reading.doubtful:
            continue
        beside = reading.comparison
        if beside is not None and beside.liquid == "water" and beside.interval is not None and o.wash is not None:
            found.append((o, beside))
    return found


def contradicts(blank: LoggedPh, seen: Sequence[Observation]) -> str:
    """How the newest strip beside a wash contradicts the rinse water's own reading; empty where it does not."""
    found = strips_in_water(seen)
    if not found or blank.interval is None:
        return ""
    last, beside = found[-1]
    assert beside.interval is not None
    if _overlap(blank.interval, beside.interval):
        return ""
    return _(
        "The rinse water reads {interval} by itself and {interval2} beside wash {wash}: dip a strip in fresh water.",
        interval=_words(blank.interval),
        interval2=_words(beside.interval),
        wash=last.wash,
    )


def _differs(beside: LoggedComparison) -> bool:
    """Whether the strip differed from the wash beside it for sure: 0 lies outside of the difference's interval."""
    return beside.delta_interval is not None and not beside.delta_interval[0] <= 0.0 <= beside.delta_interval[1]


def _surely_alike(one: tuple[float, float], other: tuple[float, float]) -> bool:
    """Whether two intervals' middles are alike within SURELY, with both doubts."""
    halves = [(high - low) / 2.0 for low, high in (one, other)]
    gap = abs(sum(one) - sum(other)) / 2.0
    return gap + math.hypot(*halves) <= SURELY


def _overlap(one: tuple[float, float], other: tuple[float, float]) -> bool:
    return one[0] <= other[1] and other[0] <= one[1]


def _words(interval: tuple[float, float]) -> str:
    return _("{interval_0:.1f} to {interval_1:.1f}", interval_0=interval[0], interval_1=interval[1])
