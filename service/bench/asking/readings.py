"""When a new reading is asked about before it counts: by its kind, its wash number, the course and the forecast.

Nobody but the person at the bench can say which of two readings is wrong: the rule only says that they do not go
together, and by the readings' own intervals. Every limit is that of the course (``washing.course``), or the band of the
forecast made without the new reading.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from service.bench.gates.neutral import wash_reading
from service.bench.procedure import Stage
from service.bench.question import ANOTHER_NUMBER, ANOTHER_VESSEL, AS_IT_IS, Question, numbered
from service.bench.readings import Observation
from service.bench.washing.course import SPARE, course
from service.bench.washing.phases import WashForecast
from service.bench.washing.reading import Reading
from stripread.words import N_, SOURCE, _, speaking

DIFFERS = 1.96  # standard deviations of a normal law: one of twenty lies further off
SAME_WASH_S = 20 * 60.0  # by then a wash has settled and is poured off; common practice, no source
WHAT = {"ph": N_("A pH"), "tint": N_("A copper tint"), "solid": N_("A solid")}
READS = {"ph": N_("the pH"), "tint": N_("a tint"), "solid": N_("a solid")}
# What the course asks up to its colon, as a reason in brackets: told again by these.
WHY = (
    N_("{reading} has the number of a wash of the washing before"),
    N_("{reading} was taken after {other}"),
    N_("{reading} is lye among acid washes"),
    N_("{reading} is acid among lye washes"),
    N_("{reading} is further from {other} than a wash can bring it"),
    N_("{reading} follows {other}"),
)


@dataclass(frozen=True)
class Bench:
    """How the batch stands before the new reading.

    ``counted`` are the readings that count, in any order, their washing (``part``) set; ``poured_off`` the times (ISO)
    at which a wash was written down as poured off, by wash number; ``forecast`` that of the readings counted;
    ``alkalinity`` of the rinse water, mol/L, None where it is not known.
    """

    stage: Stage
    counted: Sequence[Observation] = ()
    poured_off: dict[int, str] | None = None
    alkalinity: float | None = None
    forecast: WashForecast | None = None


def asked_of_reading(new: Observation, bench: Bench) -> tuple[Question, ...]:
    """What to ask about a new reading before it counts; nothing where it goes with the others, or has no value."""
    with speaking(SOURCE):  # the log keeps a question in one language
        return _asked(new, bench)


def _asked(new: Observation, bench: Bench) -> tuple[Question, ...]:
    reading = new.reading
    if new.blank or reading.refused or reading.kind == "cells":
        return ()
    found = [*_kind(new, bench.stage), *_poured_off(new, bench)]
    mine = wash_reading(new)
    if mine is not None and not found:
        before = [r for o in bench.counted if not o.blank and (r := wash_reading(o)) is not None]
        found = [*_same_wash(mine, before)] or [*_jump(mine, before, bench)]
    return tuple(found)


def _kind(new: Observation, stage: Stage) -> list[Question]:
    kind = new.reading.kind
    if not stage.read or kind in stage.read:
        return []
    wanted = " and ".join(READS.get(r, r) for r in stage.read)
    text = _(
        "{what} in the stage '{stage}', which reads {wanted}: was it meant, or another batch or kind?",
        what=WHAT[kind],
        stage=stage.title,
        wanted=wanted,
    )
    return [Question(code="wrong_kind", sentence=text, choices=(AS_IT_IS, ANOTHER_VESSEL))]


def _poured_off(new: Observation, bench: Bench) -> list[Question]:
    """A liquid that was poured off before the photo was taken can't be in it: the number did not move."""
    at = None if new.wash is None else (bench.poured_off or {}).get(new.wash)
    if at is None or new.wash is None or not _before(at, new.at):
        return []
    text = _("Wash {n} is written down as poured off already: is this wash {next}?", n=new.wash, next=new.wash + 1)
    choices = (numbered(new.wash + 1), ANOTHER_NUMBER, AS_IT_IS, ANOTHER_VESSEL)
    return [Question(code="poured_off", sentence=text, choices=choices)]


def _same_wash(mine: Reading, before: Sequence[Reading]) -> list[Question]:
    same = [r for r in before if (r.part, r.wash) == (mine.part, mine.wash)]
    if not same:
        return []
    last = max(same, key=lambda r: r.at)
    apart = abs(mine.ph - last.ph)
    differs = mine.bound == last.bound == 0 and apart > DIFFERS * math.hypot(mine.sd, last.sd)
    late = bool(last.at and mine.at) and _seconds(last.at, mine.at) > SAME_WASH_S
    if not differs and not late:
        return []
    said = {"ph": mine.ph, "last": last.ph, "wash": mine.wash}
    text = (
        _("pH {ph:.1f} after {last:.1f} in one wash (wash {wash}): another vessel? wrong wash?", **said)
        if differs
        else _(
            "pH {ph:.1f} after {last:.1f} in one wash (wash {wash}), more than 20 minutes later: "
            "the same wash, or the next?",
            **said,
        )
    )
    choices = (numbered(mine.wash + 1), ANOTHER_NUMBER, AS_IT_IS, ANOTHER_VESSEL)
    return [Question(code="same_wash", sentence=text, about=_entries([last]), choices=choices)]


def _jump(mine: Reading, before: Sequence[Reading], bench: Bench) -> list[Question]:
    """Where the course asks about it, and did not ask the same without it; else where the forecast has no room."""
    present = [r for r in before if r.part == mine.part]
    if not present:
        return []
    mine = replace(mine, name=mine.name or "this reading")
    known = {q.sentence for q in course(before, bench.alkalinity).questions}
    for asked in course([*before, mine], bench.alkalinity).questions:
        if mine in asked.about and asked.sentence not in known:
            others = [r for r in asked.about if r != mine]
            last = max(others or present, key=lambda r: (r.wash, r.at))
            why = asked.sentence.partition(": ")[0].partition(" Correct")[0].rstrip(".?")
            text = _(
                "pH {ph:.1f} in wash {wash} after {last:.1f} in wash {before}: another vessel? wrong wash? ({why}.)",
                ph=mine.ph,
                wash=mine.wash,
                last=last.ph,
                before=last.wash,
                why=f"{why[:1].upper()}{why[1:]}",
            )
            return [_jumped("jump", text, others, mine)]
    band = _foretold(mine, present, bench.forecast)
    if band is None or (mine.interval[1] >= band[0] - SPARE and mine.interval[0] <= band[1] + SPARE):
        return []
    text = _(
        "pH {ph:.1f} in wash {wash}, where the washes so far foretell {low:.1f} to {high:.1f}: "
        "another vessel? wrong wash?",
        ph=mine.ph,
        wash=mine.wash,
        low=band[0],
        high=band[1],
    )
    return [_jumped("off_forecast", text, present[-1:], mine)]


def _jumped(code: str, text: str, others: Sequence[Reading], mine: Reading) -> Question:
    choices = (AS_IT_IS, ANOTHER_NUMBER, ANOTHER_VESSEL)
    return Question.model_validate(
        {"code": code, "sentence": text, "about": _entries([r for r in others if r != mine]), "choices": choices}
    )


def _foretold(mine: Reading, present: Sequence[Reading], forecast: WashForecast | None) -> tuple[float, float] | None:
    """The 90 % band that the forecast has for this wash; None for a wash that is not to come, a bound, or a stall."""
    if forecast is None or forecast.status not in ("ok", "done") or mine.bound or mine.doubtful:
        return None
    if mine.wash <= max(r.wash for r in present):
        return None
    return next(((p.low, p.high) for p in forecast.curve if p.wash == mine.wash), None)


def _entries(readings: Sequence[Reading]) -> tuple[int, ...]:
    words = [r.name.removeprefix("entry ") for r in readings]
    return tuple(int(word) for word in words if word.isdigit())


def _before(a: str, b: str) -> bool:
    return bool(a and b) and _seconds(a, b) > 0.0


def _seconds(a: str, b: str) -> float:
    first, second = datetime.fromisoformat(a), datetime.fromisoformat(b)
    if (first.tzinfo is None) != (second.tzinfo is None):
        first, second = first.replace(tzinfo=None), second.replace(tzinfo=None)
    return (second - first).total_seconds()


def proposed_wash(counted: Sequence[Observation], poured_off: Collection[int], now: str) -> int:
    """The wash number to propose: the last one, and the next once that was poured off or read a while ago; first 1.

    It never runs ahead of the bench: a second strip of one wash, counted as the next, could open a gate.

    Parameters
    ----------
    counted
        Readings that count.
    poured_off
        Numbers of the washes that are written down as poured off.
    now
        ISO time.
    """
    read = [o for o in counted if o.wash is not None and not o.blank and not o.reading.refused]
    last = max([*poured_off, *(o.wash for o in read if o.wash is not None)], default=0)
    newest = max((o.at for o in read if o.wash == last), default="")
    if last == 0 or last in poured_off or not newest or _seconds(newest, now) > SAME_WASH_S:
        return last + 1
    return last
