"""Gates judged twice by today's rules: with the readings as the log has them, and with those made anew."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sqlalchemy import Connection

from service.bench.notes import Move, Note
from service.bench.readings import Observation
from service.bench.state import State, state_of
from service.log import store
from service.log.course.state import observations
from service.log.entry_cache import HEAVY, slim_rows
from service.log.noted.vessel import dangers_now
from service.log.notes import notes_of
from service.readers.archive.asked import Asked


@dataclass(frozen=True)
class OtherGate:
    """A gate that readings made anew would judge otherwise; ``passed``: the batch has gone on from it since."""

    batch: int
    stage: str
    passed: bool
    was: str
    now: str
    sentence: str  # of the judgement with the readings made anew


def other_gates(c: Connection, asked: Asked, batch: int, anew: Mapping[int, store.Row]) -> list[OtherGate]:
    """The gates of a batch that judge otherwise with the readings ``anew``, by entry: each one passed, and today's."""
    row = store.known_batch(c, batch)
    rows = [entry for entry in slim_rows(c, batch) if entry["id"] <= asked.up_to]
    old = observations(c, row, rows)
    new = observations(c, row, [_instead(entry, anew.get(entry["id"]), asked) for entry in rows])
    notes = [note for note in notes_of(c, batch) if note.at <= asked.begun_at]
    details = row["details"]
    found = []

    def state(until: list[Note], seen: list[Observation], at: str, last: bool) -> State:
        dangers = dangers_now(c, batch) if last else ()
        return state_of(until, seen, details.get("alkalinity_mmol_l"), details.get("water"), dangers, at)

    moves = [place for place, note in enumerate(notes) if isinstance(note.content, Move)]
    for place in [*moves, len(notes)]:
        last = place == len(notes)
        at = (row["closed_at"] or asked.begun_at) if last else notes[place].at
        was, now = (state(notes[:place], [o for o in seen if last or o.at <= at], at, last) for seen in (old, new))
        if was.verdict.state != now.verdict.state:
            verdict = now.verdict
            found.append(OtherGate(batch, now.stage.id, not last, was.verdict.state, verdict.state, verdict.sentence))
    return found


def _instead(row: store.Row, reading: store.Row | None, asked: Asked) -> store.Row:
    if reading is None:
        return row
    slim = {name: value for name, value in reading.items() if name not in HEAVY}
    profile = asked.profile or row["profile_sha256"]
    return {**{k: v for k, v in row.items() if k != "unreadable"}, "reading": slim, "profile_sha256": profile}
