"""What is asked about a reading as a batch's log stands: the rule of ``service.bench.asking`` on rows of the log."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from sqlalchemy import Connection

from service.bench.asking.readings import Bench, asked_of_reading, proposed_wash
from service.bench.notes import DecantNote, Note, in_force
from service.bench.readings import Observation, logged
from service.bench.state import stage_now
from service.bench.washing.parts import breaks, part_of
from service.log import store
from service.log.course.forecast import forecast_now
from service.log.course.state import observations
from service.log.entry_cache import slim_rows
from service.log.models import now
from service.log.notes import notes_of
from service.log.strip_range import strip_range
from service.log.taken import taken_at

RECENT = 200  # entries looked at: a course is asked about its last washes, and a photo must not wait for a long log


def asked_about(
    c: Connection, new: store.NewEntry, taken: str | None = None, but: int | None = None
) -> list[dict[str, Any]]:
    """The questions about an entry that is to be added, JSON-ready, as its ``extras`` keep them; mostly none.

    Parameters
    ----------
    taken
        When its photo was taken (ISO time), where that is known already, as of a corrected one.
    but
        The entry that it corrects: that is not held against it.
    """
    batch = store.batch(c, new.batch_id)
    if batch is None or new.reading["status"] == "refused" or new.kind == "cells":
        return []
    notes = in_force(notes_of(c, new.batch_id))
    procedure, stage = stage_now(notes)
    begins = breaks(notes, procedure)
    at = taken or taken_at(now(), new.snapped_at, batch["opened_at"])
    part = part_of(at, begins)
    rows = slim_rows(c, new.batch_id)[-RECENT:]
    seen = [replace(o, part=part_of(o.at, begins)) for o in observations(c, batch, rows) if o.entry != but]
    blank = but is not None and batch["details"].get("blank_entry") == but
    span = None if new.profile is None or new.kind != "ph" else strip_range(c, new.profile[0])
    observed = Observation(at, logged(new.reading), new.wash, blank, span, None, part)
    alkalinity = batch["details"].get("alkalinity_mmol_l")
    bench = Bench(stage, seen, poured_off(notes, part, begins), alkalinity and alkalinity / 1000.0)
    found = asked_of_reading(observed, bench)
    if not found and but is None and _may_be_foretold(observed, seen):
        found = asked_of_reading(observed, replace(bench, forecast=forecast_now(c, batch)))
    return [question.model_dump(mode="json", exclude_none=True) for question in found]


def _may_be_foretold(new: Observation, seen: list[Observation]) -> bool:
    """Whether a forecast could say something of this wash: it takes a while to work out."""
    washes = {o.wash for o in seen if o.wash is not None and o.part == new.part and o.reading.kind == "ph"}
    return new.reading.kind == "ph" and new.wash is not None and len(washes) > 1 and new.wash > max(washes)


def poured_off(notes: list[Note], part: int, begins: tuple[str, ...]) -> dict[int, str]:
    """Wash number -> when it was first written down as poured off, in this washing of the batch."""
    found: dict[int, str] = {}
    for note in notes:
        if isinstance(note.content, DecantNote) and part_of(note.at, begins) == part:
            wash = note.content.wash_number
            if wash is not None:
                found.setdefault(wash, note.at)
    return found


def next_wash(c: Connection, batch: store.Row) -> int:
    """The wash number that the page proposes for the next photo."""
    notes = in_force(notes_of(c, batch["id"]))
    off = {n.content.wash_number for n in notes if isinstance(n.content, DecantNote)}
    seen = observations(c, batch, slim_rows(c, batch["id"])[-RECENT:])
    return proposed_wash(seen, {wash for wash in off if wash is not None}, now())
