"""The rinse water's own pH from strips that were laid beside a wash's: counts once two washes agree on it.

A second strip may have been dipped in the wash, too; both would read alike, and the wash would seem to be its water.
Water stays what it is from wash to wash, a wash does not: so it takes strips beside two washes that read alike.
"""

from __future__ import annotations

from collections.abc import Sequence

from service.bench.readings import LoggedComparison, LoggedPh, Observation
from service.bench.washing.course import plausible_water

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
    if len({o.wash for o, _ in found}) < 2:
        return "One strip in the rinse water is no proof that it was: lay one beside the next wash's strip, too."
    (before, one), (last, other) = _newest_of_two_washes(found)
    assert one.interval is not None
    assert other.interval is not None
    if not _overlap(one.interval, other.interval):
        return (
            f"The rinse water reads {_words(one.interval)} beside wash {before.wash} and {_words(other.interval)} "
            f"beside wash {last.wash}: dip a strip in fresh water."
        )
    low, high = other.interval
    middle = (low + high) / 2.0
    if not plausible_water((low, high)):
        return f"The rinse water's own pH {middle:.1f} is no plausible water: read it again."
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
    return (
        f"The rinse water reads {_words(blank.interval)} by itself and {_words(beside.interval)} beside wash "
        f"{last.wash}: dip a strip in fresh water."
    )


def _newest_of_two_washes(found: list[Beside]) -> list[Beside]:
    """The newest of another wash, and the newest of all."""
    last = found[-1]
    return [next(one for one in reversed(found) if one[0].wash != last[0].wash), last]


def _overlap(one: tuple[float, float], other: tuple[float, float]) -> bool:
    return one[0] <= other[1] and other[0] <= one[1]


def _words(interval: tuple[float, float]) -> str:
    return f"{interval[0]:.1f} to {interval[1]:.1f}"
