"""The bench's notes in the log: events of a batch, which the database itself refuses to change or delete."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

from sqlalchemy import Connection, select

from service.bench.asking.weights import asked_of_weight
from service.bench.notes import (
    KINDS,
    Amended,
    Content,
    Emptying,
    MadeSafe,
    Note,
    Pouring,
    Strike,
    VesselReading,
    Weight,
    as_corrected,
    checked,
    in_force,
    withdrawals,
)
from service.bench.procedure import load_procedure
from service.bench.question import Question
from service.bench.readings import Observation, logged
from service.bench.state import State, stage_now, state_of, weighing_of, weighings_of
from service.bench.vessel.hazards import OpenDanger
from service.bench.vessel.history import open_dangers, refuse_danger, vessel_of
from service.bench.vessel.read_alkaline import brings_ammonia
from service.bench.vessel.waste import Stock, stock
from service.bench.washing.parts import breaks
from service.log import store
from service.log.aside.stages import CHANGING, keep_stage
from service.log.entry_cache import slim_rows
from service.log.models import events, now
from service.log.strip_range import strip_range
from service.log.taken import taken_at, taken_times
from service.log.unreadable import readable
from stripread.errors import CallError
from stripread.words import N_, SOURCE, _, say, speaking
from stripread.words.retold import retold

PREFIX = "bench:"
BESIDE = "_beside"  # of an event's detail: what the log knows about a note beside its own fields
VESSEL_KINDS = tuple(kind.kind for kind in (Pouring, VesselReading, Emptying, MadeSafe, Strike, Amended))
_LOST = N_("can't be read; strike it and write down again what it said")
TWICE_S = 60.0  # the same note again within this time is the phone sending twice


def notes_of(c: Connection, batch: int) -> list[Note]:
    """A batch's notes in the order in which they were written; without those that can't be read."""
    return [note for _, note in _read_notes(c, batch) if isinstance(note, Note)]


def listed_notes(c: Connection, batch: int) -> list[Note | DamagedNote]:
    """All of a batch's notes in the order in which they were written; those that can't be read are marked."""
    return [note for _, note in _read_notes(c, batch)]


def damaged_notes(c: Connection, batch: int) -> list[DamagedNote]:
    """A batch's notes that can't be read and that nobody has struck."""
    every = listed_notes(c, batch)
    struck = withdrawals([note for note in every if isinstance(note, Note)])
    return [note for note in every if isinstance(note, DamagedNote) and note.id not in struck]


@dataclass(frozen=True)
class DamagedNote:
    """A note that can't be read: its number, its time, its kind as far as that is known."""

    id: int
    at: str
    kind: str


def _read_notes(c: Connection, batch: int | None = None) -> list[tuple[int, Note | DamagedNote]]:
    """(batch, note) of one batch or of all, in order."""
    query = select(events).where(events.c.what.startswith(PREFIX)).order_by(events.c.id)
    if batch is not None:
        query = query.where(events.c.batch_id == batch)
    found: list[tuple[int, Note | DamagedNote]] = []
    kinds: dict[int, str] = {}
    for row in c.execute(query).mappings():
        kind = str(row["what"]).removeprefix(PREFIX)
        try:
            said = json.loads(row["detail"])
            beside = said.pop(BESIDE, {})  # who, and what is asked: not the note's own
            asked = beside.get("asked")
            question = None if asked is None else Question.model_validate(asked)
            content = checked(kind, said, in_log=True)
            if isinstance(content, Amended) and content.note in kinds:
                checked(kinds[content.note], content.data, in_log=True)
            kinds[row["id"]] = kind
        except (ValueError, TypeError, AttributeError, RecursionError, CallError):
            found.append((row["batch_id"], DamagedNote(row["id"], str(row["at"]), kind)))
        else:
            found.append((row["batch_id"], Note(content, row["at"], row["id"], beside.get("who"), question)))
    return found


def _ask_for_lost(held: list[Note], pouring: Pouring) -> None:
    """Stop a pouring into a vessel of which a note is lost: no danger can be told there."""
    lost = [note.content.what for note in held if isinstance(note.content, Pouring) and _LOST in note.content.what]
    if lost and not pouring.despite:
        raise CallError(_("nobody can say what is in the stock vessel: {lost_0}", lost_0=retold(lost[0])))


def _unknown_pouring(note: DamagedNote) -> Note:
    """What stands for a damaged note of the stock vessel: something went in, and nobody can say what."""
    what = f"note {note.id} {_LOST}"
    return Note(Pouring.model_construct(what=what, litres=0.0, contents=(what,)), note.at, note.id)


@dataclass(frozen=True)
class Said:
    """What goes with a note beside its fields: who writes it, when, whether it may wait for an answer.

    ``why`` is said of corrections. ``keep``: a note that has to be asked about is kept, marked, and counts once it is
    answered; else it is refused. ``written_at``: when, by the phone's clock with its zone (ISO 8601); it counts where
    the note plainly came later. ``keyed``: it came under a key of its own, so that the same note again is another one.
    """

    who: str | None = None
    keep: bool = False
    why: str = ""
    written_at: str | None = None
    keyed: bool = False


def add_note(c: Connection, batch: int, kind: str, data: dict[str, object], said: Said | None = None) -> Note:
    """Write a note down; the same one again within a minute gives the first, unless each has a key of its own.

    Raises
    ------
    CallError
        If the note is wrong, the batch does not exist or is closed. ``AskedFirst`` where it has to be asked about.
    """
    said = said or Said()
    earlier = open_notes(c, batch)
    content = checked(kind, data)
    fields = content.fields()
    again = sent_before(earlier, kind, fields, keyed=said.keyed)
    if again is not None:
        return again
    known = [note.id for note in earlier] + [note.id for note in damaged_notes(c, batch)]
    if isinstance(content, Strike) and content.note not in known:
        raise CallError(f"there is no note {content.note} in this batch")
    if isinstance(content, Amended):
        raise CallError("a correction goes through `batch correct`, which checks what it says")
    asked = asked_first(earlier, content, keep=said.keep)
    check_content(c, earlier, content)
    return write(c, batch, content, said, asked)


def open_notes(c: Connection, batch: int) -> list[Note]:
    """The notes of a batch that may be written to.

    Raises
    ------
    CallError
        If it does not exist or is closed.
    """
    row = store.batch(c, batch)
    if row is None:
        raise CallError(_("there is no batch {batch}", batch=batch))
    if row["closed_at"] is not None:
        raise CallError(_("this batch is closed; open it again first"))
    return notes_of(c, batch)


def sent_before(earlier: list[Note], kind: str, fields: dict[str, object], *, keyed: bool) -> Note | None:
    """The note as which this one was sent before: the very same within a minute, unless it has a key of its own."""
    since = (datetime.now(UTC) - timedelta(seconds=TWICE_S)).isoformat(timespec="microseconds")
    last = earlier[-1] if earlier and not keyed else None
    if last is None or last.at < since:
        return None
    return last if (last.kind, last.content.fields()) == (kind, fields) else None


class AskedFirst(CallError):  # noqa: N818 - what it is, in the house's words
    """A note that has to be asked about before it is written down: the question has the answers that it takes."""

    def __init__(self, question: Question) -> None:
        super().__init__(f"{question.sentence} {question.hint}".strip())
        self.question = question


def asked_first(earlier: list[Note], content: Content, *, keep: bool) -> Question | None:
    """What has to be asked about a note that comes after these.

    Raises
    ------
    AskedFirst
        Where there is something and the note may not wait for its answer in the log (``keep``).
    """
    if not isinstance(content, Weight):
        return None
    question = asked_of_weight(weighings_of(in_force(earlier)), weighing_of(content))
    if question is not None and not keep:
        raise AskedFirst(question)
    return question


def check_content(c: Connection, earlier: list[Note], content: Content, but: int = 0) -> None:
    """Stop what would be dangerous or is about nothing; ``but`` is a note of the stock vessel that is corrected.

    Raises
    ------
    CallError
        Saying why.
    """
    if isinstance(content, Pouring):
        held = [note for _, note in _vessel_notes(c) if note.id != but]
        _ask_for_lost(held, content)
        refuse_danger(held, content)
    if isinstance(content, MadeSafe) and content.note not in [n.id for n in earlier if _may_be_dangerous(n)]:
        raise CallError(
            _("there is no pouring {note} in this batch, nor a reading or ammonia of that number", note=content.note)
        )


def write(c: Connection, batch: int, content: Content, said: Said, asked: Question | None) -> Note:
    """Put a note into the log that was checked."""
    told = {"who": said.who, "asked": asked and asked.model_dump(mode="json", exclude_none=True)}
    beside = {name: value for name, value in told.items() if value}
    at = now() if said.written_at is None else taken_at(now(), said.written_at, _opened_at(c, batch))
    detail = {**content.fields(), BESIDE: beside} if beside else content.fields()
    number = store.add_event(c, batch, at, PREFIX + content.kind, detail)
    if content.kind in CHANGING:
        keep_stage_now(c, batch)
    return Note(content, at, number, said.who, asked)


def _opened_at(c: Connection, batch: int) -> str:
    return str(store.known_batch(c, batch)["opened_at"])


def keep_stage_now(c: Connection, batch: int) -> None:
    """Write down for the search which stage the batch is in; none where its notes can't tell."""
    try:
        stage = stage_now(notes_of(c, batch))[1].id
    except CallError:
        stage = ""
    keep_stage(c, batch, stage)


def _may_be_dangerous(note: Note) -> bool:
    return isinstance(note.content, Pouring | VesselReading) or brings_ammonia(note.content)


def dangers_by(c: Connection, batch: int, note: Note) -> tuple[OpenDanger, ...]:
    """The dangers that this note made or showed, if it can."""
    if not _may_be_dangerous(note):
        return ()
    return tuple(danger for danger in dangers_of(c, batch) if danger.note == note.id)


def choose_procedure(c: Connection, batch: int, where: str) -> Note:
    """Give a batch its procedure: a shipped one by name, or a file; its text is kept in the log."""
    return add_note(c, batch, "procedure", {"text": load_procedure(where).text})


def move_on(
    c: Connection,
    batch: int,
    to: str | None,
    reason: str | None,
    who: str | None,
    *,
    written_at: str | None = None,
    keyed: bool = False,
) -> tuple[Note, State]:
    """Go on to the next stage, or to the stage named.

    Raises
    ------
    CallError
        When the gate is not open (or the stage is not the next one) and no reason is given; for a stage unknown.
    """
    state = batch_state(c, batch)
    after = state.procedure.after(state.stage.id)
    if to is None and after is None:
        raise CallError(_("this was the last stage"))
    target = state.procedure.stage(to) if to is not None else after
    assert target is not None
    if (state.verdict.state != "open" or target != after) and not (reason or "").strip():
        why = (
            state.verdict.sentence
            if target == after
            else _("{title!r} is not the next stage.", title=say(target.title))
        )
        raise CallError(
            _(
                "the gate says {state}: {why} To go on against it, give a reason.",
                state=say(state.verdict.state),
                why=why,
            )
        )
    with speaking(SOURCE):  # the log is kept in one language, whoever writes it
        kept = batch_state(c, batch)
    data: dict[str, object] = {
        "to": target.id,
        "state": state.verdict.state,
        "sentence": kept.verdict.sentence,
        "reason": reason,
        "who": who,
    }
    moved = add_note(c, batch, "move", data, Said(written_at=written_at, keyed=keyed))
    return moved, batch_state(c, batch)


def stock_of_log(c: Connection) -> tuple[Stock, list[tuple[int, Note]]]:
    """The stock vessel over all batches since it was handed over: what it holds; (batch, note) of what was noted."""
    since = _vessel_notes(c)
    notes = [note for _, note in since]
    return stock(vessel_of(notes), tuple(danger.stop for danger in open_dangers(notes))), since


def dangers_of(c: Connection, batch: int | None = None) -> tuple[OpenDanger, ...]:
    """Dangers in the stock vessel that notes (of this batch, or of any) made or showed, and nobody has dealt with."""
    since = _vessel_notes(c)
    own = {note.id for owner, note in since if batch in (None, owner)}
    return tuple(danger for danger in open_dangers([note for _, note in since]) if danger.note in own)


def _vessel_notes(c: Connection) -> list[tuple[int, Note]]:
    """(batch, note) of all that concerns the stock vessel since it was handed over, in order."""
    every = [
        (batch, note if isinstance(note, Note) else _unknown_pouring(note))
        for batch, note in _read_notes(c)
        # A damaged note of a kind that nobody knows may be one of the vessel's.
        if note.kind in VESSEL_KINDS or note.kind not in KINDS
    ]
    counting = {note.id: note for note in in_force([note for _, note in every])}
    found = [(batch, counting[note.id]) for batch, note in every if note.id in counting and note.kind != Strike.kind]
    last = max((i for i, (_, note) in enumerate(found) if isinstance(note.content, Emptying)), default=-1)
    return found[last + 1 :]


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
        for row in readable(store.counting(rows))
    ]


def _measuring(rows: list[store.Row]) -> set[int]:
    """Numbers, as tints name them, of the photos of vials that count: not withdrawn since, nor damaged."""
    newer, by_number = store.corrected(rows), {row["id"]: row for row in rows}
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
    return [row["id"] for row in store.in_force(rows) if row.get("unreadable")]


def unanswered(rows: list[store.Row]) -> list[int]:
    """Numbers of the entries that wait for an answer before they count."""
    return [row["id"] for row in store.in_force(rows) if row["extras"].get("asked")]


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


def batch_state(c: Connection, batch: int) -> State:
    """Where a batch stands.

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
    state = state_of(notes, seen, hard, details.get("water"), dangers_of(c, batch))
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
