"""Reminders of the stage that a batch is in: settled, time to weigh, time that is up, time to look again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from service.bench.drying.forecast import DryingForecast
from service.bench.gates.timed import timed_start
from service.bench.gates.verdict import Verdict
from service.bench.gates.weight import Weighing, same_series
from service.bench.notes import DecantNote, MetalCheck, NamedTest, Note
from service.bench.procedure import Stage
from service.bench.reminding.reminder import Reminder
from service.bench.stages.gate_kinds import MetalGone, TestNone, Timed, WeightConstant, parts_of
from service.moments import hours_between, hours_words, later
from stripread.words import _

SETTLES_H = 1.0  # where no decant of the batch told how long it took to clear; common practice, no source


@dataclass(frozen=True)
class Bench:
    """How the batch stands: what its gate says, since when it is in the stage and in each (ISO), the moment asked.

    ``notes`` those that count, ``weighings`` of this stage, each in the order of time.
    """

    stage: Stage
    since: str
    began: Mapping[str, str]
    notes: Sequence[Note]
    weighings: Sequence[Weighing]
    verdict: Verdict
    drying: DryingForecast | None
    now: str


def of_stage(bench: Bench) -> list[Reminder]:
    """All that the stage reminds of; nothing of the gate where that is open already."""
    found = [_settled(bench)]
    if bench.verdict.state != "open":
        found += [_weigh(bench), *(_time_up(gate, bench) for gate in parts_of(bench.stage.gate))]
        found += [_look_again(gate, bench) for gate in parts_of(bench.stage.gate)]
    return [one for one in found if one is not None]


def clears_in_h(notes: Sequence[Note]) -> tuple[float, bool]:
    """Hours that this batch's liquid takes to clear, and whether its own decants told: those that looked clear."""
    decants = [n.content for n in notes if isinstance(n.content, DecantNote) and n.content.settled_h is not None]
    clear = [d.settled_h for d in decants if d.looks == "clear" and d.settled_h]
    hazy = [d.settled_h for d in decants if d.looks in ("hazy", "cloudy", "milky") and d.settled_h]
    if clear:
        enough = [h for h in clear if h > max(hazy, default=0.0)]
        return min(enough or [max(clear)]), True
    return (2.0 * max(hazy), True) if hazy else (SETTLES_H, False)


def _settled(bench: Bench) -> Reminder | None:
    """A wash settles from when the one before it was poured off, as long as the batch's own liquid took to clear."""
    if "ph" not in bench.stage.read:
        return None
    poured = [n for n in bench.notes if isinstance(n.content, DecantNote) and n.at >= bench.since]
    if not poured:
        return None
    hours, told = clears_in_h(bench.notes)
    last = poured[-1]
    assert isinstance(last.content, DecantNote)
    due = later(last.at, hours)
    how = _("as long as it took to clear before") if told else _("usually long enough")
    if hours_between(due, bench.now) >= 0.0:
        text = _(
            "{time} have gone by since {decant} was poured off, {how}: decant now, if a dark edge is seen sharp "
            "through it.",
            time=hours_words(hours_between(last.at, bench.now)),
            decant=last.content.name,
            how=how,
        )
        return Reminder("settled", "now", due, text)
    text = _("It settles since {decant} was poured off: decant after {time}, {how}.", decant=last.content.name,
             time=hours_words(hours), how=how)  # fmt: skip
    return Reminder("settled", "later", due, text)


def _weigh(bench: Bench) -> Reminder | None:
    gates = [gate for gate in parts_of(bench.stage.gate) if isinstance(gate, WeightConstant)]
    same = same_series(bench.weighings)
    if not gates or not same:
        return None
    hours, drying = gates[0].hours, bench.drying
    by_course = drying is not None and drying.status in ("ok", "done") and drying.hours is not None
    if by_course and drying is not None and drying.hours is not None:
        hours = max(hours, drying.hours[1])
    due = later(same[-1].at, hours)
    if hours_between(due, bench.now) < 0.0:
        text = _("It dries: cool it and weigh it again after {time} of drying.", time=hours_words(hours))
        return Reminder("weigh", "later", due, text)
    text = _("{time} have gone by since it was weighed: cool it and weigh it again.",
             time=hours_words(hours_between(same[-1].at, bench.now)))  # fmt: skip
    if by_course:
        text = _("By its course it is dry enough by now: cool it and weigh it again.")
    return Reminder("weigh", "now", due, text)


def _time_up(gate: object, bench: Bench) -> Reminder | None:
    start = timed_start(gate, bench.notes, bench.since, bench.began) if isinstance(gate, Timed) else None
    if not isinstance(gate, Timed) or not start:
        return None
    due = later(start, gate.hours)
    if hours_between(due, bench.now) >= 0.0:
        return Reminder(
            "time_up", "now", due, _("The {time} that the gate wants have gone by.", time=hours_words(gate.hours))
        )
    return Reminder("time_up", "later", due, _("The gate wants {time}: look again then.", time=hours_words(gate.hours)))


def _look_again(gate: object, bench: Bench) -> Reminder | None:
    """A look or a test that has to be made again some time after the last clean one."""
    if isinstance(gate, MetalGone):
        hours: float | None = gate.hours
        seen = [(n.at, n.content.grains == "no") for n in bench.notes if isinstance(n.content, MetalCheck)]
    elif isinstance(gate, TestNone):
        hours = gate.hours
        seen = [(n.at, n.content.found == "no") for n in bench.notes if isinstance(n.content, NamedTest)]
    else:
        return None
    seen = [(at, clean) for at, clean in seen if at >= bench.since]
    if hours is None or not seen or not seen[-1][1]:
        return None
    due = later(seen[-1][0], hours)
    if hours_between(due, bench.now) >= 0.0:
        return Reminder(
            "look_again", "now", due, _("{time} since the last clean look: look once more.", time=hours_words(hours))
        )
    return Reminder(
        "look_again", "later", due, _("Clean so far: look once more after {time}.", time=hours_words(hours))
    )
