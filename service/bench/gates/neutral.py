"""The pH gate: open by two valid readings of different washes, or by one beside the rinse water's own.

It goes by wash number and by when the photo was taken; readings that can't be one washing's course are asked back.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from service.bench.gates.verdict import Verdict
from service.bench.readings import LoggedPh, Observation, look_twice
from service.bench.stages.gate_kinds import PhNeutral
from service.bench.washing.course import Course, course, plausible_water
from service.bench.washing.reading import Reading
from service.bench.washing.water_beside import SURELY, contradicts, water_beside
from stripread.words import _

BOUNDS = {None: 0, "at most": -1, "at least": 1}
ALIKE = 0.3  # pH: two strips of one lot in one liquid; common practice, no source
# A wash moves the pH by its own pace, 0.5 to 1.3 (shares held back of 0.3 and 0.05: tests/data/wash_dilution.csv), and
# less near the end; hard water alone leaps. How much more is a leap: common practice, no source.
LEAP, PACE, SLACK = 2.0, 1.3, 0.3
WEAK_LYE = 10.0  # pH: what lye is left here, the carbonic acid of water in air takes up in one wash
APART = 2.5  # standard deviations between strips of one wash
SHARED = 0.3  # pH, half of a 95 % interval: what strips of one lot err alike in weak water; common practice, no source


def wash_reading(seen: Observation) -> Reading | None:
    """The reading as the course of a washing takes it; None where it has no value or no wash number.

    An end of the strip's range counts as a bound; one of which nobody can say which end is left out.
    """
    reading, bound = seen.reading, seen.bound()
    if not isinstance(reading, LoggedPh) or reading.refused or reading.ph is None or reading.interval is None:
        return None
    if seen.wash is None or bound == "unknown":
        return None
    name = "" if seen.entry is None else _("entry {entry}", entry=seen.entry)
    beside, apart = reading.comparison, None
    if beside is not None and beside.liquid == "water" and beside.delta_ph is not None and beside.delta_interval:
        apart = (beside.delta_ph, beside.delta_interval)
    at = (BOUNDS[bound], name, seen.at, seen.part)
    return Reading(seen.wash, reading.ph, reading.interval, *at, reading.doubtful, apart)


def judge_neutral(
    gate: PhNeutral,
    here: Sequence[Observation],
    every: Sequence[Observation] = (),
    alkalinity: float | None = None,
    part: int = 0,
) -> Verdict:
    """Judge by the pH readings of washes.

    Parameters
    ----------
    here
        Readings of this stage and of the rinse water, in the order in which they were taken.
    every
        All of the batch: a number may be wrong against an earlier stage. ``here`` where not given.
    alkalinity
        Of the rinse water, mol/L, if known.
    part
        How many new washings have begun by now: lye or acid that was noted since makes readings before it old.
    """
    read = [o for o in here if isinstance(o.reading, LoggedPh) and not o.reading.refused and o.reading.ph is not None]
    seen = [o for o in read if not o.blank]
    if not seen:
        return Verdict("cannot tell", _("No pH reading in this stage yet."))
    if seen[-1].wash is None:
        who = _("The last pH reading") if seen[-1].entry is None else _("Entry {entry}", entry=seen[-1].entry)
        return Verdict(
            "cannot tell", _("{who} has no wash number: correct it, so that washes can be told apart.", who=who)
        )
    if seen[-1].bound() == "unknown":
        return Verdict("cannot tell", _("The last strip stood at the end of its range: use a strip of a wider one."))
    if seen[-1].part < part:
        return before_anew()
    washes = [o for o in (every or here) if not o.blank]
    found = course([r for o in washes if (r := wash_reading(o)) is not None], alkalinity)
    return _of_course(gate, found, {(o.entry, o.at) for o in seen}, _blank(read))


def before_anew() -> Verdict:
    """Lye or acid went in after the last wash was read: its pH says nothing of what is in the vessel now."""
    return Verdict("cannot tell", _("Lye or acid was noted since the last wash was read: read a wash since."))


def _blank(read: Sequence[Observation]) -> LoggedPh | str | None:
    """The rinse water's own last reading, by itself or beside washes, or why it does not count."""
    blanks = [o.reading for o in read if o.blank and isinstance(o.reading, LoggedPh)]
    if not blanks or blanks[-1].ph is None or blanks[-1].interval is None:
        return water_beside(read)
    if blanks[-1].doubtful:
        return _("The rinse water's own reading {says}: read it again.", says=look_twice())
    if not plausible_water(blanks[-1].interval):
        return _("The rinse water's own pH {ph:.1f} is no plausible water: read it again.", ph=blanks[-1].ph)
    return contradicts(blanks[-1], read) or blanks[-1]


def _of_course(
    gate: PhNeutral, found: Course, here: set[tuple[int | None, str]], blank: LoggedPh | str | None
) -> Verdict:
    reps = found.newest()
    last, before = reps[-1], reps[-2] if len(reps) > 1 else None
    latest = max(found.readings, key=lambda r: r.at)
    for question in found.questions:
        if {*reps[-2:], latest} & set(question.about):
            return Verdict("cannot tell", question.sentence)
    if not any(r.wash == last.wash and _key(r) in here for r in found.readings):
        text = _("{at_start} was read in an earlier stage: read a wash of this one.", at_start=last.at_start)
        return Verdict("cannot tell", text)
    if last.doubtful:
        text = _("The last pH, {ph:.1f}, {says}: read it again.", ph=last.ph, says=look_twice())
        return Verdict("cannot tell", text)
    strips = [r for r in found.readings if r.wash == last.wash and not r.doubtful]
    if any(abs(r.ph - last.ph) > APART * math.hypot(r.sd, last.sd) for r in strips):
        text = _(
            "The strips of wash {wash} disagree ({strips})",
            wash=last.wash,
            strips=", ".join(_("pH {ph:.1f}", ph=r.ph) for r in strips),
        )
        return Verdict("cannot tell", _("{text}: withdraw the wrong one, or read the next wash.", text=text))
    judged = _newest(gate.band, _pooled(strips), before, blank)
    doubt = _once_more(reps, gate.band) if judged.state == "open" else ""
    if doubt and len({r.at for r in strips}) < 2:
        judged = Verdict("cannot tell", _("{doubt} Read this wash once more, or the next.", doubt=doubt))
    elif doubt and any(_newest(gate.band, r, before, blank).state != "open" for r in strips):
        # One of the strips may be of another liquid, and would pull the mean of both to its side: each by itself.
        judged = Verdict("cannot tell", _("{doubt} Not every strip of it says so: read the next wash.", doubt=doubt))
    return judged


def _once_more(reps: Sequence[Reading], band: tuple[float, float]) -> str:
    """Why one strip of the newest wash is not enough, for it may have been dipped in the rinse water; else empty."""
    last, before = reps[-1], reps[-2] if len(reps) > 1 else None
    if (before is None and last.part > 0) or (before is not None and before.ph > band[1]):
        return _(
            "{at_start} is the first to read neutral after the lye or the rinse, and a strip dipped in "
            "the rinse water does so too.",
            at_start=last.at_start,
        )
    if before is not None and _leaps(reps, band):
        return _(
            "{at_start} is a leap from {called}: hard water does that, and so does a strip dipped in the wrong liquid.",
            at_start=last.at_start,
            called=before.called,
        )
    return ""


def _pooled(strips: Sequence[Reading]) -> Reading:
    """The strips of one wash as one reading: all count, so that reading again until it opens is no way round."""
    if len(strips) == 1 or any(r.bound for r in strips):
        return strips[-1]
    halves = [max(r.interval[1] - r.ph, r.ph - r.interval[0], 0.05) for r in strips]
    weights = [1.0 / half**2 for half in halves]
    ph = sum(w * r.ph for w, r in zip(weights, strips, strict=True)) / sum(weights)
    half = max(sum(weights) ** -0.5, min(*halves, SHARED))
    return replace(strips[-1], ph=ph, interval=(ph - half, ph + half), apart=None)


def _leaps(reps: Sequence[Reading], band: tuple[float, float]) -> bool:
    """Whether the newest wash moved much further than the ones before did, from outside the band."""
    if len(reps) < 2 or _touches(_open(reps[-2]), band) or 7.0 < reps[-2].ph < WEAK_LYE:
        return False
    pace, first = LEAP, reps[0]
    if len(reps) > 2 and not first.bound and not reps[-2].bound:
        pace = min(LEAP, PACE * abs(reps[-2].ph - first.ph) / (reps[-2].wash - first.wash) + SLACK)
    return abs(reps[-1].ph - reps[-2].ph) > pace * (reps[-1].wash - reps[-2].wash)


def _newest(band: tuple[float, float], last: Reading, before: Reading | None, blank: LoggedPh | str | None) -> Verdict:
    """The newest wash, valid: by the wash before it, else by the rinse water."""
    (a, b), (low, high) = _open(last), band
    inside = low <= a and b <= high
    if inside and before is not None and not before.doubtful and _touches(_open(before), band):
        text = _(
            "pH {ph:.1f} ({a:.1f} to {b:.1f}) lies inside {low:g} to {high:g}", ph=last.ph, a=a, b=b, low=low, high=high
        )
        return Verdict("open", _("{text}, after {ph:.1f} in the wash before.", text=text, ph=before.ph))
    if isinstance(blank, LoggedPh):
        if inside and blank.ph is not None and abs(last.ph - blank.ph) <= SURELY:
            text = _(
                "pH {ph:.1f} ({a:.1f} to {b:.1f}) lies inside {low:g} to {high:g}",
                ph=last.ph,
                a=a,
                b=b,
                low=low,
                high=high,
            )
            return Verdict("open", _("{text}, and near the rinse water's own {ph:.1f}.", text=text, ph=blank.ph))
        alike = _against_blank(last, blank)
        if alike.state == "open" and last.part > 0 and b > high >= (blank.ph or 0.0):
            text = _("pH {ph:.1f} ({a:.1f} to {b:.1f}) reaches over {high:g}", ph=last.ph, a=a, b=b, high=high)
            return Verdict(
                "cannot tell", _("{text}, and oxide left in the powder holds 8.7: read the next wash too.", text=text)
            )
        return alike
    if inside:
        more = f" {blank}" if isinstance(blank, str) else ""
        text = _(
            "pH {ph:.1f} lies inside {low:g} to {high:g}, but one reading is no proof", ph=last.ph, low=low, high=high
        )
        return Verdict(
            "cannot tell", _("{text}: read the next wash too, or the rinse water.{more}", text=text, more=more)
        )
    return _outside(last, band, blank if isinstance(blank, str) else _("Read the rinse water too."))


def _outside(last: Reading, band: tuple[float, float], then: str) -> Verdict:
    (a, b), (low, high) = _open(last), band
    said = {"ph": last.ph, "a": a, "b": b, "low": low, "high": high, "then": then}
    if b < low or a > high:
        return Verdict(
            "hold", _("pH {ph:.1f} ({a:.1f} to {b:.1f}) lies outside {low:g} to {high:g}: wash on. {then}", **said)
        )
    return Verdict(
        "cannot tell",
        _("pH {ph:.1f} ({a:.1f} to {b:.1f}) reaches over the edge of {low:g} to {high:g}. {then}", **said),
    )


def _key(reading: Reading) -> tuple[int | None, str]:
    number = reading.name.removeprefix("entry ")
    return (int(number) if number else None, reading.at)


def _open(reading: Reading) -> tuple[float, float]:
    """The interval, open where the strip's range ended."""
    low, high = reading.interval
    return (0.0 if reading.bound < 0 else low, 14.0 if reading.bound > 0 else high)


def _touches(pair: tuple[float, float], band: tuple[float, float]) -> bool:
    return pair[0] <= band[1] and pair[1] >= band[0]


def _against_blank(sample: Reading, blank: LoggedPh) -> Verdict:
    """Not different from the rinse water: the difference holds 0 in its 95 % interval and is below 1 pH for sure."""
    assert blank.ph is not None
    assert blank.interval is not None
    own = blank.ph
    half = max(sample.interval[1] - sample.ph, sample.ph - sample.interval[0])
    reach = (half**2 + max(blank.interval[1] - own, own - blank.interval[0]) ** 2) ** 0.5
    gap = sample.ph - own
    if sample.apart is not None:  # both strips in one photo: what they err alike by is not in it
        gap, (below, above) = sample.apart
        reach = max(above - gap, gap - below)
    if sample.bound:
        return Verdict("cannot tell", _("The strip stood at the end of its range: use one of a wider range."))
    if abs(gap) > max(reach, ALIKE):
        return Verdict(
            "hold", _("pH {ph:.1f} still differs from the rinse water's {own:.1f}: wash on.", ph=sample.ph, own=own)
        )
    if abs(gap) + reach > SURELY:
        text = _(
            "pH {ph:.1f} against {own:.1f} of the rinse water, each too uncertain to compare: read both again.",
            ph=sample.ph,
            own=own,
        )
        return Verdict("cannot tell", text)
    return Verdict(
        "open", _("pH {ph:.1f} is not different from the rinse water's own {own:.1f}.", ph=sample.ph, own=own)
    )
