"""The stock vessel over all batches, at a cost that does not grow with the log: a kept sum, and the newest notes on it.

The sum after some of the notes is a row (``vessel_sums``), written by the transaction that writes a note. It is taken
back when a note that it counts is corrected or withdrawn. The newest notes are never in it: a row of them that is
damaged later is seen at once, one that the sum counts by the log's check.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from sqlalchemy import Connection, RowMapping, delete, func, insert, select, update

from service.bench.notes import KINDS, Amended, Emptying, MadeSafe, Note, Pouring, Strike, VesselReading, in_force
from service.bench.notes.of_vessels import SilverDown
from service.bench.vessel.hazards import OpenDanger
from service.bench.vessel.running import Held, go_on, held_from
from service.bench.vessel.waste import Stock, stock_of
from service.log.benches.asking import only_own, own_among
from service.log.models import events, vessel_sums
from service.log.noted.rows import PREFIX, DamagedNote, Read, notes_in
from stripread.json_line import json_line
from stripread.words import N_, _

CONTENT_KINDS = tuple(kind.kind for kind in (Pouring, VesselReading, Emptying, MadeSafe, SilverDown))
CHANGES = (Strike.kind, Amended.kind)
MOST_NEW = 48  # notes of the vessel after the newest sum: then a further one is kept ...
LEFT_NEW = 16  # ... which leaves so many out: mostly the newest are corrected
POURED = 200  # notes of the vessel in one answer, where nobody says how many
LOST = N_("can't be read; strike it and write down again what it said")


@dataclass(frozen=True)
class Sum:
    """The vessel after all notes up to one: that note's number, what it holds."""

    upto: int
    held: Held


NOTHING = Sum(0, Held())


def held_now(c: Connection, but: int | None = None) -> Held:
    """What the vessel holds after all notes; ``but`` leaves out one that is about to say something else."""
    start = newest_sum(c, None if but is None else but - 1)
    return _after(start.held, [one for one in _read_after(c, start.upto) if one[1].id != but])


def dangers_now(c: Connection, batch: int | None = None, held: Held | None = None) -> tuple[OpenDanger, ...]:
    """Dangers in the vessel that notes (of this batch, or of any) made or showed, and nobody has dealt with.

    A danger is everybody's who pours into the vessel; what another bench said of it is not.
    """
    held = held or held_now(c)
    found = [made for made in held.dangers if batch in (None, made.batch)]
    own = own_among(c, {made.batch for made in found})
    return tuple((made if made.batch in own else replace(made, despite=None)).told() for made in found)


def stock_now(c: Connection, held: Held | None = None) -> Stock:
    """What the vessel holds, in words, over all batches since it was handed over."""
    held = held or held_now(c)
    stops = tuple(made.told().stop for made in held.dangers)
    return stock_of(held.contents, held.metals, stops, empty=held.empty)


def silver_words(held: Held) -> str:
    """Whether the vessel counts as holding silver, in words; empty where none went in."""
    if held.holds_silver:
        return _("It counts as holding silver: bring it down before it is handed over.")
    if not held.down:
        return ""
    if held.left_mg_l is None:
        return _("Its silver was brought down (note {note}).", note=str(held.down))
    low, high = held.left_mg_l
    return _(
        "Its silver was brought down (note {note}): {low:g} to {high:g} mg/L are left.",
        note=str(held.down),
        low=low,
        high=high,
    )


def poured_now(
    c: Connection, *, before: int | None = None, limit: int | None = None, held: Held | None = None
) -> tuple[list[tuple[int, Note]], int | None]:
    """(batch, note) noted since the vessel was handed over: the newest ``limit`` below ``before``, in order.

    The vessel is everybody's, who poured is not: a bench gets its own alone. With them the ``before`` that gives those
    that come before them; None where there are none.
    """
    since = (held or held_now(c)).since
    query = select(events).where(events.c.what.in_(kinds_in(c, CONTENT_KINDS)), events.c.id > since)
    if before is not None:
        query = query.where(events.c.id < before)
    query = only_own(query, events.c.batch_id).order_by(events.c.id.desc())
    rows = c.execute(query if limit is None else query.limit(limit + 1)).mappings().all()
    more = limit is not None and len(rows) > limit
    rows = rows[:limit] if more else rows
    lowest = rows[-1]["id"] if more else since + 1
    counting, lost = with_changes(c, rows)
    shown = {row["id"] for row in rows} | {n for n in lost if lowest <= n and (before is None or n < before)}
    return [one for one in counting if one[1].id in shown], lowest if more else None


# --- the sums


def newest_sum(c: Connection, upto: int | None = None) -> Sum:
    """The newest sum that is kept, or the newest of those up to this note."""
    query = select(vessel_sums).order_by(vessel_sums.c.upto.desc()).limit(1)
    row = c.execute(query if upto is None else query.where(vessel_sums.c.upto <= upto)).one_or_none()
    return NOTHING if row is None else Sum(row.upto, held_from(json.loads(row.held)))


def keep_sum(c: Connection, number: int) -> None:
    """Keep the sums true after event ``number``, a note that was just written, in the same transaction."""
    what = what_of(c, number)
    if what in CHANGES:
        root = root_of(c, number)
        if what_of(c, root) not in KINDS or what_of(c, root) in CONTENT_KINDS:
            _mend(c, root)
    elif what in KINDS and what not in CONTENT_KINDS:
        return
    keep_due(c)


def keep_due(c: Connection) -> None:
    """Keep every sum that is due."""
    for made in sums_after(c, newest_sum(c)):
        c.execute(insert(vessel_sums).values(upto=made.upto, held=_text(made.held)))


def _text(held: Held) -> str:
    return json_line(held.to_json())


def _mend(c: Connection, changed: int) -> None:
    """Make the sums anew from the note that changed on, until one comes out as it was."""
    start = newest_sum(c, changed - 1)
    kept = select(vessel_sums).where(vessel_sums.c.upto >= changed).order_by(vessel_sums.c.upto)
    for row in c.execute(kept).all():
        held = held_between(c, start, row.upto)
        if held.lost:
            c.execute(delete(vessel_sums).where(vessel_sums.c.upto >= row.upto))
            return
        if _text(held) == row.held:
            return
        c.execute(update(vessel_sums).where(vessel_sums.c.upto == row.upto).values(held=_text(held)))
        start = Sum(row.upto, held)


def held_between(c: Connection, start: Sum, upto: int) -> Held:
    """The vessel after the notes from a sum on up to this one, as they count now."""
    here = events.c.id.between(start.upto + 1, upto)
    query = select(events).where(events.c.what.in_(kinds_in(c, CONTENT_KINDS)), here)
    counting, lost = with_changes(c, c.execute(query).mappings().all())
    return go_on(start.held, [one for one in counting if start.upto < one[1].id <= upto], lost)


def sums_after(c: Connection, start: Sum) -> Iterator[Sum]:
    """The sums that are due after one: each by so many notes as to leave the newest out."""
    read = _read_after(c, start.upto)
    own = [place for place, (_, note) in enumerate(read) if note.kind not in CHANGES]
    counting, lost = _counting(read)
    step = MOST_NEW - LEFT_NEW
    while len(own) > MOST_NEW:
        upto = read[own[step - 1]][1].id
        taken = [one for one in counting if start.upto < one[1].id <= upto]
        held = go_on(start.held, taken, lost)
        own = own[step:]
        start = Sum(upto, held)
        if not held.lost:  # what can't be read goes into no sum: it is told of until it is struck or handed over
            yield start


def kinds_in(c: Connection, kinds: tuple[str, ...]) -> list[str]:
    """What events of these kinds are called, and those of kinds that nobody knows: damaged, they may be of these."""
    first = select(func.min(events.c.what).label("what")).cte("whats", recursive=True)
    further = select(func.min(events.c.what)).where(events.c.what > first.c.what).scalar_subquery()
    whats = first.union_all(select(further).where(first.c.what.is_not(None)))
    there = [str(what) for what in c.execute(select(whats.c.what)).scalars() if what is not None]
    unknown = [what for what in there if what.startswith(PREFIX) and what.removeprefix(PREFIX) not in KINDS]
    return [PREFIX + kind for kind in kinds] + unknown


def with_changes(c: Connection, rows: Sequence[RowMapping]) -> tuple[list[tuple[int, Note]], dict[int, str]]:
    """These notes as they count now, as ``_counting`` gives them, by what was changed in their batches since."""
    of = sorted({row["batch_id"] for row in rows})
    changing = [PREFIX + kind for kind in CHANGES]
    changes = select(events).where(events.c.batch_id.in_(of), events.c.what.in_(changing))
    every = sorted([*rows, *c.execute(changes).mappings()], key=lambda row: row["id"])
    counting, lost = _counting(notes_in(every))
    return [one for one in counting if not isinstance(one[1].content, Strike)], lost


def _read_after(c: Connection, upto: int) -> list[Read]:
    whats = kinds_in(c, (*CONTENT_KINDS, *CHANGES))
    query = select(events).where(events.c.what.in_(whats), events.c.id > upto).order_by(events.c.id)
    return notes_in(c.execute(query).mappings())


def _after(held: Held, read: list[Read]) -> Held:
    counting, lost = _counting(read)
    return go_on(held, counting, lost)


def _counting(read: list[Read]) -> tuple[list[tuple[int, Note]], dict[int, str]]:
    """(batch, note) of those in force, and by number what stands for those that can't be read."""
    notes = [note if isinstance(note, Note) else _unknown_pouring(note) for _, note in read]
    lost = {note.id: _words(note) for _, note in read if isinstance(note, DamagedNote)}
    batch_of = {note.id: batch for batch, note in read}
    return [(batch_of[note.id], note) for note in in_force(notes)], lost


def _unknown_pouring(note: DamagedNote) -> Note:
    """What stands for a damaged note of the stock vessel: something went in, and nobody can say what."""
    what = _words(note)
    return Note(Pouring.model_construct(what=what, litres=0.0, contents=(what,)), note.at, note.id)


def _words(note: DamagedNote) -> str:
    return f"note {note.id} {LOST}"


def what_of(c: Connection, number: int) -> str | None:
    """The kind of a note; None where there is none of that number."""
    found = c.execute(select(events.c.what).where(events.c.id == number)).scalar()
    return None if found is None else str(found).removeprefix(PREFIX)


def root_of(c: Connection, number: int) -> int:
    """The note that a withdrawal or correction is about in the end, through those of withdrawals and corrections."""
    while what_of(c, number) in CHANGES:
        detail = c.execute(select(events.c.detail).where(events.c.id == number)).scalar_one()
        try:
            about = int(json.loads(detail)["note"])
        except (ValueError, TypeError, KeyError, RecursionError):
            return 0  # damaged: nobody knows what it was about
        if about >= number:
            return 0
        number = about
    return number
