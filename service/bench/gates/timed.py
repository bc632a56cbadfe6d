"""The gate of time: open once enough of it has gone by since a stage began or something was written down."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

from service.bench.gates.verdict import Verdict, names
from service.bench.notes import KINDS, Note
from service.bench.stages.gate_kinds import Timed
from service.moments import hours_words
from stripread.words import _, say


def judge_timed(gate: Timed, notes: Sequence[Note], since: str, began: Mapping[str, str], now: str) -> Verdict:
    """Judge by the clock.

    Parameters
    ----------
    notes
        All that count, in the order in which they were written.
    since
        When the stage began (ISO time); "" where the batch began in it, so that its first note counts.
    began
        Stage -> when the batch last came into it.
    now
        The moment that is asked about (ISO time).
    """
    start = timed_start(gate, notes, since, began)
    if not start or not now:
        return Verdict("cannot tell", _missing(gate))
    gone = (datetime.fromisoformat(now) - datetime.fromisoformat(start)).total_seconds() / 3600.0
    if gone >= gate.hours:
        return Verdict("open", _("{time} or more have gone by.", time=hours_words(gate.hours)))
    left = timedelta(hours=gate.hours - gone)
    minutes = -(-int(left.total_seconds()) // 60)
    text = _(
        "Give it time: {time} are wanted, {minutes} minutes are left.", time=hours_words(gate.hours), minutes=minutes
    )
    return Verdict("hold", text)


def timed_start(gate: Timed, notes: Sequence[Note], since: str, began: Mapping[str, str]) -> str | None:
    """When a gate's time began (ISO time); empty or None where nobody can say. Parameters as ``judge_timed``."""
    first = min((n.at for n in notes), default="")
    start: str | None = since or first
    if gate.stage is not None:
        start = began.get(gate.stage)
        start = first if start == "" else start
    if gate.note is not None:
        told = [n.at for n in notes if n.kind == gate.note and n.at >= since and _names(n, gate.what)]
        start = told[-1] if told else None
    return start


def _names(note: Note, words: Sequence[str]) -> bool:
    return not words or any(isinstance(v, str) and names(v, words) for v in note.content.fields().values())


def _missing(gate: Timed) -> str:
    if gate.note is None:
        return _("Nobody can say when the time began: it counts from the stage {stage!r}.", stage=gate.stage or "")
    what = say(KINDS[gate.note].label or gate.note)
    if gate.what:
        words = _("{what} ({words})", what=what, words=_(" or ").join(gate.what))
        return _("The time counts from a note: write down {words}.", words=words)
    return _("The time counts from a note: write down {words}.", words=what)
