"""What the user says of a strip beside its photo: when it was dipped, how warm the sample was, that it is rinse water.

Strips drift: too early the pads have not settled, too late they dry and take up air. Water without buffer is worse: the
pad's own dye and acid set its pH at first, and the colour takes minutes instead of seconds (practice, no source).
And neutral is pH 7 at 25 °C only: half of pKw, whose expression here is that of PHREEQC's phreeqc.dat.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import datetime, time
from typing import TYPE_CHECKING

from stripread.errors import CallError
from stripread.reasons import Reason, because

if TYPE_CHECKING:
    from stripread.kind import StripKind
    from stripread.ph.buffers import Liquid
    from stripread.results import PhReading
from stripread.tuned import tuned
from stripread.words import _

_TUNED = tuned("stripread.ph")
UNBUFFERED = _TUNED.pair("unbuffered")
UNBUFFERED_WINDOW_S = _TUNED.pair("unbuffered_window_s")
HOT_C = _TUNED.number("hot_c")


@dataclass(frozen=True)
class Circumstances:
    """dipped: seconds before the photo, or the time by the phone's clock; temperature_c: of the sample when dipped.

    beside: what the lowest of several strips in the lane was dipped in, to compare the others with.
    """

    dipped: float | datetime | time | None = None
    rinse: bool = False
    temperature_c: float | None = None
    beside: Liquid | None = None

    def __post_init__(self) -> None:
        if self.temperature_c is not None and not 0.0 <= self.temperature_c <= 100.0:
            raise CallError(
                _(
                    "{temperature_c:g} °C is not a temperature of liquid water: 0 to 100",
                    temperature_c=self.temperature_c,
                )
            )


def dip_time(text: str) -> float | datetime | time:
    """Seconds before the photo (``35``), a time of the photo's day (``10:04:30``), or date and time (ISO 8601).

    Raises
    ------
    CallError
        If it is none of these, or a negative number.
    """
    try:
        seconds = float(text)
    except ValueError:
        pass
    else:
        if not 0.0 <= seconds < math.inf:
            raise CallError(_("dipped {text} s before the photo: give a number from 0 up", text=text))
        return seconds
    for parse in (time.fromisoformat, datetime.fromisoformat):
        try:
            return parse(text)
        except ValueError:
            continue
    raise CallError(
        _("'{text}' is no dip time: give seconds before the photo, 10:04:30, or 2026-05-12T10:04:30", text=text)
    )


def waited(dipped: float | datetime | time, taken_at: str | None) -> float | None:
    """Seconds from dip to photo; negative when the clocks contradict; None when the photo does not know its time."""
    if isinstance(dipped, float):
        return dipped
    if taken_at is None:
        return None
    taken = datetime.fromisoformat(taken_at)
    dip = datetime.combine(taken.date(), dipped) if isinstance(dipped, time) else dipped
    if dip.tzinfo is None or isinstance(dipped, time):
        return (taken.replace(tzinfo=None) - dip.replace(tzinfo=None)).total_seconds()
    return None if taken.tzinfo is None else (taken - dip).total_seconds()


def neutral_ph(temp_c: float) -> float:
    """Half of pKw at ``temp_c`` (0 to 100 °C): PHREEQC's phreeqc.dat."""
    t = temp_c + 273.15
    kw = 293.29227 + 0.1360833 * t - 10576.913 / t - 123.73158 * math.log10(t) - 6.996455e-5 * t**2
    return -kw / 2.0


def with_circumstances(reading: PhReading, kind: StripKind, given: Circumstances) -> PhReading:
    """The reading with what was given of the strip: waiting time, neutral pH, and the doubts that follow."""
    wait = None if given.dipped is None else waited(given.dipped, reading.stamp.taken_at)
    neutral = None if given.temperature_c is None else neutral_ph(given.temperature_c)
    common = _of_temperature(given)
    if given.dipped is not None and wait is None:
        common.append(because("no_photo_time"))
    strips = tuple(
        replace(s, reasons=(*s.reasons, *common, *_of_time(s.ph, wait, kind, given))) for s in reading.strips
    )
    return replace(
        reading,
        reasons=(*reading.reasons, *common, *_of_time(reading.ph, wait, kind, given)),
        strips=strips,
        waited_s=wait,
        neutral_ph=neutral,
    )


def _of_time(ph: float | None, wait: float | None, kind: StripKind, given: Circumstances) -> list[Reason]:
    """Doubts about when the strip was read; ``ph`` None for a strip without a value."""
    slow = ph is not None and given.rinse and UNBUFFERED[0] <= ph <= UNBUFFERED[1]
    window = UNBUFFERED_WINDOW_S if slow else kind.read_after_s
    if ph is None or (wait is None and not slow):
        return []
    if wait is None:
        return [because("unbuffered", _("wait a minute or more"))]
    if wait < 0.0:
        return [because("dip_after_photo", _("{wait:.0f} s", wait=-wait), value=-wait, unit="s")]
    low, high = window or (0.0, math.inf)
    if wait < low and slow:
        return [
            because(
                "unbuffered",
                _("read after {wait:.0f} s, wait {low:.0f} s or more", wait=wait, low=low),
                value=wait,
                unit="s",
            )
        ]
    if wait < low:
        return [
            because(
                "read_too_early", _("{wait:.0f} s, sooner than {low:.0f} s", wait=wait, low=low), value=wait, unit="s"
            )
        ]
    late = because(
        "read_too_late", _("{wait:.0f} s, later than {high:.0f} s", wait=wait, high=high), value=wait, unit="s"
    )
    return [late] if wait > high else []


def _of_temperature(given: Circumstances) -> list[Reason]:
    if given.temperature_c is None:
        return []
    words = _(
        "{temperature_c:.0f} °C, where neutral is pH {temperature_c2:.1f}",
        temperature_c=given.temperature_c,
        temperature_c2=neutral_ph(given.temperature_c),
    )
    code = "hot_sample" if given.temperature_c >= HOT_C else "neutral_at"
    return [because(code, words, value=given.temperature_c, unit="°C")]
