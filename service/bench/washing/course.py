"""Whether readings can be the course of one washing; where they cannot, a question that names them.

A wash never puts back what it took out, takes no more out than water can, and is photographed after the one before.
What breaks these rules is a wrong wash number, a drop of another liquid or a strip gone wrong: nobody but the person
who was there can say which, so it is asked, and neither forecast nor gate goes on by it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from service.bench.washing.reading import Reading
from stripread.words import _

Pair = tuple[float, float]
# pH of any rinse water: pure in a crowded room 5.4 (PHREEQC), tap water up to 9.5 (from memory)
WATER_PH = (5.0, 9.5)
TOGETHER_S = 60.0  # photos taken within this time have no order worth asking about
CERTAIN = 3.5  # standard deviations
CLEAN = (5.2, 8.8)  # pH beyond which air and strip alone do not take a clean wash
OTHER_SIDE = (5.0, 9.0)  # pH of acid in a lye wash, of lye in an acid wash
BEST_SHARE = 0.015  # nobody holds less back in a wash: 15 mL in a litre; common practice, no source
HARDEST = 6e-3  # mol/L alkalinity of a water of which nothing is known
SPARE = 0.3  # pH, beside the readings' intervals
MOST_SKIPPED = 4  # wash numbers passed over without a reading; common practice, no source
RESTART = 2  # a washing that is counted anew starts at this number at most


@dataclass(frozen=True)
class Question:
    """What does not fit, and the readings that it is about."""

    sentence: str
    about: tuple[Reading, ...]


@dataclass(frozen=True)
class Course:
    """The present washing: its readings by wash, then time; washes before it; what does not fit."""

    readings: tuple[Reading, ...]
    before: int
    questions: tuple[Question, ...]

    def newest(self) -> tuple[Reading, ...]:
        """Of each wash the reading that counts, in order: the last valid one, a doubtful one for want of another."""
        found: dict[int, Reading] = {}
        for reading in self.readings:
            if reading.wash not in found or found[reading.wash].doubtful or not reading.doubtful:
                found[reading.wash] = reading
        return tuple(found[wash] for wash in sorted(found))


def plausible_water(interval: Pair) -> bool:
    """Whether some rinse water may have this pH: at pH 4 it is acid, whatever was said of it."""
    middle = 0.5 * (interval[0] + interval[1])
    return WATER_PH[0] <= middle <= WATER_PH[1]


def course(readings: Sequence[Reading], alkalinity: float | None = None) -> Course:
    """The present washing of a batch by its readings, with questions about what cannot be.

    ``alkalinity`` of the rinse water, mol/L; None where it is not known.
    """
    last = max((r.part for r in readings), default=0)
    present = sorted((r for r in readings if r.part == last), key=lambda r: (r.wash, r.at))
    earlier = [r.wash for r in readings if r.part < last]
    before = present[0].wash - 1 if present and earlier and present[0].wash > RESTART else 0
    plain = Course(tuple(present), max(0, before), ())
    asked = [*_late(present, earlier), *_order(present), *_kinds(present)]
    if not asked:  # what follows would only repeat them
        asked = [*_way(plain.newest(), HARDEST if alkalinity is None else alkalinity), *_skipped(plain.newest())]
    return Course(plain.readings, plain.before, tuple(asked))


def side(readings: Sequence[Reading]) -> int:
    """1 where acid is washed out, -1 where lye is: the side that most readings lie on, the first's where even."""
    signs = [1 if r.ph < 7.0 else -1 for r in readings if not WATER_PH[0] + 0.5 < r.ph < WATER_PH[1] - 1.0]
    signs = signs or [1 if r.ph < 7.0 else -1 for r in readings]
    total = sum(signs)
    return (1 if total > 0 else -1) if total else (signs[0] if signs else 1)


def _late(present: Sequence[Reading], earlier: Sequence[int]) -> list[Question]:
    """A photo of an earlier washing that came late without its own time would count as one of this washing."""
    most = max(earlier, default=0)
    if not present or present[0].wash > most or present[0].wash <= RESTART:
        return []
    text = _(
        "{present_0} has the number of a wash of the washing before: a late photo, or a wrong number?",
        present_0=_start(present[0]),
    )
    return [Question(_("{text} Correct or withdraw it.", text=text), (present[0],))]


def _order(present: Sequence[Reading]) -> list[Question]:
    found = []
    timed = sorted((r for r in present if r.at), key=lambda r: r.at)
    for a, b in pairwise(timed):
        if b.wash < a.wash and _seconds(a.at, b.at) > TOGETHER_S:
            text = _(
                "{b} was taken after {called}: which wash number is wrong? Correct or withdraw one.",
                b=_start(b),
                called=a.called,
            )
            found.append(Question(text, (a, b)))
    return found


def _seconds(a: str, b: str) -> float:
    first, second = datetime.fromisoformat(a), datetime.fromisoformat(b)
    if (first.tzinfo is None) != (second.tzinfo is None):
        first, second = first.replace(tzinfo=None), second.replace(tzinfo=None)
    return (second - first).total_seconds()


def _kinds(present: Sequence[Reading]) -> list[Question]:
    sign = side(present)
    acid, lye = OTHER_SIDE
    wrong = [r for r in present if (r.interval[0] > lye if sign > 0 else r.interval[1] < acid) and r.bound == 0]
    if not wrong:
        return []
    one = wrong[0]
    what = (
        _(
            "is lye among acid washes: if lye went in, go on to its stage or note the lye used; else it "
            "is another liquid"
        )
        if sign > 0
        else _("is acid among lye washes: if it was an acid rinse, note it; else it is another liquid")
    )
    return [Question(_("{one} {what}: correct or withdraw it.", one=_start(one), what=what), tuple(wrong))]


def _way(reps: Sequence[Reading], alkalinity: float) -> list[Question]:
    """Readings that go back, or forward faster than water can dilute; the first pair only."""
    sign = side(reps)
    for i, b in enumerate(reps):
        if b.bound:
            continue
        for a in reps[:i]:
            back = sign * (a.ph - b.ph) - CERTAIN * math.hypot(a.sd, b.sd)
            dirty = b.ph < CLEAN[0] if sign > 0 else b.ph > CLEAN[1]
            if a.bound == 0 and back > 0 and dirty:
                text = _("{b} lies back behind {called}, and no wash goes back", b=_start(b), called=a.called)
                return [
                    Question(
                        _("{text}: which one is wrong? Correct or withdraw it, or read once more.", text=text), (a, b)
                    )
                ]
        a = reps[i - 1]
        if i and a.bound == 0 and _too_fast(a, b, sign, alkalinity):
            text = _(
                "{b} is further from {called} than a wash can bring it: another liquid, or a wrong number?",
                b=_start(b),
                called=a.called,
            )
            return [Question(_("{text} Correct or withdraw it, or read once more.", text=text), (a, b))]
    return []


def _too_fast(a: Reading, b: Reading, sign: int, alkalinity: float) -> bool:
    """Whether ``b`` is cleaner than the best washing leaves ``a``, the water's own alkalinity used against it."""
    strength = -(a.interval[1] + SPARE) if sign > 0 else a.interval[0] - SPARE - 14.0  # log10 of acid or lye, at least
    left = 10.0**strength * BEST_SHARE ** (b.wash - a.wash) - alkalinity
    if left <= 1e-6:  # below it water, air and strip say as much as what is left
        return False
    cleanest = -math.log10(left)  # pH of acid; of lye 14 less it
    return b.interval[0] > cleanest + SPARE if sign > 0 else b.interval[1] < 14.0 - cleanest - SPARE


def _skipped(reps: Sequence[Reading]) -> list[Question]:
    """A number far beyond the one before, as 12 typed for 2; a second reading beyond the gap confirms it."""
    if len(reps) < 2 or reps[-1].wash - reps[-2].wash <= MOST_SKIPPED:
        return []
    text = _(
        "{last_reps} follows {called}: is its number right? Correct it, or read the next wash too.",
        last_reps=_start(reps[-1]),
        called=reps[-2].called,
    )
    return [Question(text, (reps[-2], reps[-1]))]


def _start(reading: Reading) -> str:
    called = reading.called
    return called[0].upper() + called[1:]
