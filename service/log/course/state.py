"""Where a batch stands: its readings and notes in force, as gates see them, and what keeps a gate from opening."""

from __future__ import annotations

from dataclasses import replace

from sqlalchemy import Connection

from service.bench.notes import Amended, Note, as_corrected, withdrawals
from service.bench.readings import Observation, logged
from service.bench.state import State, stage_now, state_of
from service.bench.vessel.hazards import OpenDanger
from service.bench.washing.parts import breaks
from service.log import store
from service.log.course.standing import corrected, counting, in_force
from service.log.entry_cache import slim_rows
from service.log.models import now
from service.log.notes import damaged_notes, dangers_of_batch, notes_of
from service.log.strip_range import strip_range
from service.log.taken import taken_times
from service.log.unreadable import readable
from stripread.errors import CallError
from stripread.words import _


def observations(c: Connection, batch: store.Row, rows: list[store.Row]) -> list[Observation]:
    """The batch's readings in force as gates see them, with when they were taken; the rinse water's own marked.

    Left out is a row that can't be read: it proves nothing.
    """
    blank = batch["details"].get("blank_entry")
    measuring = _measuring(rows)
    taken = taken_times(rows, batch["opened_at"], batch["zone"])
    return [
        Observation(
            taken[row["id"]],
            logged(row["reading"]),
            row["wash"],
            row["id"] == blank,
            strip_range(c, row["profile_sha256"]) if row["kind"] == "ph" else None,
            row["id"],
            cells_lost="cells" in row["extras"] and row["extras"]["cells"]["entry"] not in measuring,
        )
        for row in readable(counting(rows))
    ]


def _measuring(rows: list[store.Row]) -> set[int]:
    """Numbers, as tints name them, of the photos of vials that count: not withdrawn since, nor damaged."""
    newer, by_number = corrected(rows), {row["id"]: row for row in rows}
    found = set()
    for first in rows:
        row = first
        while newer.get(row["id"], 0) > row["id"]:
            row = by_number[newer[row["id"]]]
        if row["kind"] == "cells" and not row["extras"].get("withdrawn") and not row.get("unreadable"):
            found.add(first["id"])
    return found


def unreadable_in_force(rows: list[store.Row]) -> list[int]:
    """Numbers of the damaged entries that nothing has corrected."""
    return [row["id"] for row in in_force(rows) if row.get("unreadable")]


def unanswered(rows: list[store.Row]) -> list[int]:
    """Numbers of the entries that wait for an answer before they count."""
    return [row["id"] for row in in_force(rows) if row["extras"].get("asked")]


def unanswered_notes(notes: list[Note]) -> list[int]:
    """Numbers of the notes that wait for an answer before they count."""
    out = withdrawals(notes)
    return [
        note.id
        for note in as_corrected(notes)
        if note.asked is not None and note.id not in out and not isinstance(note.content, Amended)
    ]


def washing_begins(c: Connection, batch: int) -> tuple[str, ...]:
    """When a new washing of the batch began, by its notes."""
    notes = notes_of(c, batch)
    return breaks(notes, stage_now(notes)[0])


def neutral_band(c: Connection, batch: int) -> tuple[float, float]:
    """The pH that counts as neutral in the stage that the batch is in, by its procedure."""
    procedure, stage = stage_now(notes_of(c, batch))
    return procedure.band(stage.id)


def batch_state(c: Connection, batch: int, dangers: tuple[OpenDanger, ...] | None = None) -> State:
    """Where a batch stands. ``dangers`` are its open ones where they are known already.

    Raises
    ------
    CallError
        If there is no such batch.
    """
    row = store.batch(c, batch)
    if row is None:
        raise CallError(_("there is no batch {batch}", batch=batch))
    details, rows = row["details"], slim_rows(c, batch)
    seen = observations(c, row, rows)
    notes, hard = notes_of(c, batch), details.get("alkalinity_mmol_l")
    dangers = dangers_of_batch(c, batch) if dangers is None else dangers
    state = state_of(notes, seen, hard, details.get("water"), dangers, row["closed_at"] or now())
    if row["closed_at"] is not None:  # nothing is to be done any more
        state = replace(state, reminders=())
    damaged = [_("reading {number}", number=number) for number in unreadable_in_force(rows)]
    damaged += [_("note {number}", number=note.id) for note in damaged_notes(c, batch)]
    damaged += [_("the batch's own details")] if details.get("unreadable") else []
    state = _not_open_over(state, damaged) if damaged else state
    asked = [_("reading {number}", number=number) for number in unanswered(rows)]
    asked += [_("note {number}", number=number) for number in unanswered_notes(notes)]
    return _not_open_unanswered(replace(state, unanswered=len(asked)), asked) if asked else state


def _not_open_unanswered(state: State, asked: list[str]) -> State:
    """A gate never opens while a reading or a weight waits for an answer: it may be the one that holds it shut."""
    if state.verdict.state != "open":
        return state
    sentence = _(
        "What counts would open the gate, but {asked} waits for an answer: give it first.", asked=", ".join(asked)
    )
    return replace(state, verdict=replace(state.verdict, state="cannot tell", sentence=sentence))


def _not_open_over(state: State, damaged: list[str]) -> State:
    """A gate never opens over a row that can't be read: it may be the very one that would have held it."""
    if state.verdict.state != "open":
        return state
    sentence = _(
        "The readable rows would open the gate, but {damaged} can't be read and may say otherwise. "
        "Repair a reading with `stripread reread BATCH --keep`, or measure again and correct it; "
        "strike a note and write it down again.",
        damaged=", ".join(damaged),
    )
    return replace(state, verdict=replace(state.verdict, state="cannot tell", sentence=sentence))
