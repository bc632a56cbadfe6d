"""The bench's notes in the log: events of a batch, which the database itself refuses to change or delete."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from sqlalchemy import Connection

from service.bench.asking.weights import asked_of_weight
from service.bench.dosing.acid import checked_rinse_mol
from service.bench.notes import (
    AcidRinse,
    Amended,
    Emptying,
    MadeSafe,
    Note,
    Pouring,
    Strike,
    VesselReading,
    Weight,
    checked,
    in_force,
    withdrawals,
)
from service.bench.notes.content import Content
from service.bench.notes.of_vessels import Moved
from service.bench.question import Question, retold_question
from service.bench.state import stage_now, weighing_of, weighings_of
from service.bench.vessel.hazards import OpenDanger
from service.bench.vessel.history import refuse_danger
from service.bench.vessel.read_alkaline import brings_ammonia
from service.errors import StandsAgainst
from service.log import store
from service.log.aside.stages import CHANGING, keep_stage
from service.log.chain.locks import one_of_batch, one_of_vessel
from service.log.models import now
from service.log.noted.links import keep_links
from service.log.noted.mixing import mixes, refuse_mixing, vessel_dangers
from service.log.noted.rows import BESIDE, PREFIX, DamagedNote, notes_of_batch
from service.log.noted.stock_silver import keep_stock
from service.log.noted.vessel import CHANGES, CONTENT_KINDS, dangers_now, held_now, keep_sum
from service.log.taken import taken_at
from stripread.errors import CallError
from stripread.words import _
from stripread.words.retold import retold

TWICE_S = 60.0  # the same note again within this time is the phone sending twice


def notes_of(c: Connection, batch: int) -> list[Note]:
    """A batch's notes in the order in which they were written; without those that can't be read."""
    return [note for note in notes_of_batch(c, batch) if isinstance(note, Note)]


def damaged_notes(c: Connection, batch: int) -> list[DamagedNote]:
    """A batch's notes that can't be read and that nobody has struck."""
    every = notes_of_batch(c, batch)
    struck = withdrawals([note for note in every if isinstance(note, Note)])
    return [note for note in every if isinstance(note, DamagedNote) and note.id not in struck]


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
    if kind in CONTENT_KINDS or kind in CHANGES or kind == Moved.kind:
        one_of_vessel(c)
    content = _with_silver(c, checked(kind, data))
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
    check_content(c, batch, earlier, content)
    return write(c, batch, content, said, asked)


def _with_silver(c: Connection, content: Content) -> Content:
    """A handing over of the stock vessel says whether its silver was brought down: by the log where nobody says."""
    if not isinstance(content, Emptying) or content.silver is not None:
        return content
    held = held_now(c)
    silver = "left in" if held.holds_silver else "brought down" if held.down else "none"
    return checked(Emptying.kind, {**content.fields(), "silver": silver})


def open_notes(c: Connection, batch: int) -> list[Note]:
    """The notes of a batch that may be written to.

    Raises
    ------
    CallError
        If it does not exist or is closed.
    """
    one_of_batch(c, batch)
    row = store.batch(c, batch)
    if row is None:
        raise CallError(_("there is no batch {batch}", batch=batch))
    if row["closed_at"] is not None:
        raise StandsAgainst(_("this batch is closed; open it again first"))
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
        told = retold_question(question)
        super().__init__(f"{told.sentence} {told.hint}".strip())
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


def check_content(c: Connection, batch: int, earlier: list[Note], content: Content, but: int = 0) -> None:
    """Stop what would be dangerous or is about nothing; ``but`` is a note that is corrected.

    Raises
    ------
    CallError
        Saying why.
    """
    if isinstance(content, AcidRinse):
        checked_rinse_mol(content)
    if isinstance(content, Pouring):
        held = held_now(c, but or None)
        if held.lost and not content.despite:
            raise CallError(_("nobody can say what is in the stock vessel: {lost_0}", lost_0=retold(held.lost)))
        refuse_danger(held.contents, content)
    counting = in_force(earlier)
    refuse_mixing(c, batch, counting, content, but)
    if isinstance(content, MadeSafe) and content.note not in [
        *(n.id for n in earlier if _may_be_dangerous(n)),
        *(danger.note for danger in vessel_dangers(c, batch, counting)),
    ]:
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
    keep_sum(c, number)
    keep_stock(c, keep_links(c, batch, content.kind), number, content)
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
    content = note.content
    return isinstance(content, Pouring | VesselReading) or brings_ammonia(content) or mixes(content)


def dangers_by(c: Connection, batch: int, note: Note) -> tuple[OpenDanger, ...]:
    """The dangers that this note made or showed, if it can."""
    if not _may_be_dangerous(note):
        return ()
    return tuple(danger for danger in dangers_of_batch(c, batch) if danger.note == note.id)


def dangers_of_batch(c: Connection, batch: int) -> tuple[OpenDanger, ...]:
    """Dangers that the batch's notes made or showed, of the stock vessel and of named ones, if none dealt with them."""
    return (*dangers_now(c, batch), *vessel_dangers(c, batch, in_force(notes_of(c, batch))))
