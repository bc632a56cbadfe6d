"""The bench over HTTP: the stage with its gate, notes, the report, the stock vessel."""

from __future__ import annotations

from functools import partial
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query, Response
from pydantic import BaseModel, ConfigDict, Field, WithJsonSchema, field_validator
from sqlalchemy import Connection
from starlette.concurrency import run_in_threadpool

from service.bench.note_forms import NoteForm, note_forms
from service.bench.notes import CONTENTS, Note
from service.bench.question import Question, retold_question
from service.bench.state_view import BenchState, state_view
from service.log import notes as bench_log
from service.log import store
from service.log.course.moving import move_on
from service.log.course.state import batch_state
from service.log.fields import MAX_ID, Text
from service.log.noted.rows import DamagedNote, notes_of_batch
from service.log.noted.vessel import POURED, dangers_now, held_now, poured_now, silver_words, stock_now
from service.readers.pictures import NotAPicture, thumbnail_job
from service.readers.worker import Job
from service.web.components import Service, ServiceDep
from service.web.kept_pictures import thumbnail_name
from service.web.once import OnceDep
from service.web.problems import responses
from service.web.routes.batches import BatchId
from service.web.routes.paging import LISTED, next_link
from service.web.routes.plan import asked
from service.web.routes.vessels import stock_out
from stripread.words import _

router = APIRouter(prefix="/api", tags=["bench"], responses=responses(401, 403, 421, 422, 429, 500, 503))
WrittenAt = Annotated[
    Annotated[Text, Field(max_length=40)] | None,
    Field(description="When, by the phone's clock, ISO 8601 with its zone: it counts where this plainly came later."),
]
NOTE_KINDS = tuple(content.kind for content in CONTENTS if content.label is not None)


class NewNote(BaseModel):
    """Something to write down."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {"kind": "weight", "data": {"of": "chloride", "grams": 412.0, "moisture": [0.25, 0.3]}},
                {"kind": "decant", "data": {"name": "wash 2", "litres": "900 ml", "settled_h": "90 min"}},
            ]
        }
    )
    kind: str = Field(json_schema_extra={"enum": list(NOTE_KINDS)})
    data: Annotated[
        dict[Annotated[str, Field(max_length=40)], Any],
        Field(max_length=20),
        WithJsonSchema({"anyOf": [content.model_json_schema() for content in CONTENTS if content.label is not None]}),
    ]
    written_at: WrittenAt = None
    who: Annotated[Text, Field(max_length=100)] | None = None
    keep: bool = Field(False, description="Where it has to be asked about, keep it unanswered instead of refusing it.")

    @field_validator("kind")
    @classmethod
    def _known(cls, kind: str) -> str:
        if kind not in NOTE_KINDS:
            raise ValueError(_("kind is {note_kinds}", note_kinds=", ".join(NOTE_KINDS)))
        return kind


class NoteOut(BaseModel):
    """A note of the log."""

    id: int
    kind: str
    at: str
    who: str | None = Field(None, description="Who wrote it down, where that was said.")
    data: dict[str, object]
    dangers: list[str] = Field(description="What this note made or showed, right after it was written down.")
    asked: Question | None = Field(None, description="What has to be answered before it counts.")
    unreadable: bool = Field(False, description="The row is damaged: strike the note and write it down again.")


class Onward(BaseModel):
    """Go on to the next stage, or to the one named; against the gate only with a reason."""

    model_config = ConfigDict(json_schema_extra={"examples": [{}, {"reason": "same colour as the tap's", "who": "A."}]})
    to: Annotated[Text, Field(max_length=100)] | None = None
    reason: Annotated[Text, Field(max_length=1000)] | None = None
    who: Annotated[Text, Field(max_length=100)] | None = None
    written_at: WrittenAt = None


@router.get("/batches/{batch}/bench", responses=responses(404))
def bench(batch: BatchId, service: ServiceDep) -> BenchState:
    """The batch's stage, its gate, what to do next, cautions, mass balance, stock vessel."""
    with service.database.read() as c:
        store.known_batch(c, batch)
        return state_view(asked(lambda: batch_state(c, batch)))


@router.get("/note-forms")
def list_note_forms() -> list[NoteForm]:
    """Every kind of note that may be written down, with its fields: labels, units, choices, in their order."""
    return note_forms()


@router.get("/batches/{batch}/notes", responses=responses(404))
def list_notes(batch: BatchId, service: ServiceDep) -> list[NoteOut]:
    """Everything written down, struck out or not, in order."""
    with service.database.read() as c:
        store.known_batch(c, batch)
        return [_out(n) if isinstance(n, Note) else _damaged(n) for n in notes_of_batch(c, batch)]


@router.post(
    "/batches/{batch}/notes", status_code=201, response_model=NoteOut, responses=responses(400, 404, 409, 413, 507)
)
def write_note(batch: BatchId, body: NewNote, once: OnceDep) -> Response:
    """Write down a weight, decant, reagent, pouring, or strike a note out.

    Sent again with its `Idempotency-Key` it gets the first answer; the same twice in a minute without one counts once.

    Numbers may come as text with a unit ("1 lb", "900 ml"), ranges as "25-30 %"; the log keeps g, L, hours, °C, shares.
    """
    said = bench_log.Said(body.who or None, body.keep, written_at=body.written_at, keyed=once.key is not None)

    def act(c: Connection) -> NoteOut:
        store.known_batch(c, batch)
        made = asked(lambda: bench_log.add_note(c, batch, body.kind, body.data, said))
        dangers = bench_log.dangers_by(c, batch, made)
        return _out(made, *(danger.sentence for danger in dangers))

    return once.answer(body, NoteOut, act, 201)


def _out(note: Note, *dangers: str) -> NoteOut:
    said = note.content.fields()
    dangerous = list(dangers)
    return NoteOut(
        id=note.id,
        kind=note.kind,
        at=note.at,
        who=note.who,
        data=said,
        dangers=dangerous,
        asked=None if note.asked is None else retold_question(note.asked),
        unreadable=False,
    )


def _damaged(note: DamagedNote) -> NoteOut:
    return NoteOut(id=note.id, kind=note.kind, at=note.at, who=None, data={}, dangers=[], asked=None, unreadable=True)


@router.post("/batches/{batch}/stage", response_model=BenchState, responses=responses(400, 404, 409, 413, 507))
def go_on(batch: BatchId, body: Onward, once: OnceDep) -> Response:
    """Go on to the next stage. Against the gate it needs a reason, and the log keeps it."""

    def act(c: Connection) -> BenchState:
        store.known_batch(c, batch)
        at, keyed = body.written_at, once.key is not None
        _, state = asked(lambda: move_on(c, batch, body.to, body.reason, body.who, written_at=at, keyed=keyed))
        return state_view(state)

    return once.answer(body, BenchState, act)


async def _thumbnail(service: Service, row: store.Row) -> bytes:
    photo = await run_in_threadpool(service.blobs.here, row["photo_sha256"])
    return await service.pictures.run(thumbnail_job, Job(row["kind"], photo, row["reading"]["photo"]))


@router.get(
    "/batches/{batch}/report.{form}",
    response_class=Response,
    responses={**responses(404), 200: {"content": {"text/html": {}, "application/pdf": {}}}},
)
async def report(batch: BatchId, form: Literal["html", "pdf"], service: ServiceDep) -> Response:
    """The batch's report, remade from the log."""
    rows = await run_in_threadpool(_rows, service, batch)
    small: dict[str, bytes] = {}
    for row in rows:
        sha256 = row["photo_sha256"]
        make = partial(_thumbnail, service, row)
        try:
            small[sha256] = await service.kept.get(thumbnail_name(sha256), make, lambda: None)
        except (NotAPicture, OSError):
            continue  # the reading stands in the report without its picture
    data = await run_in_threadpool(_report, service, batch, form, small)
    kind = "text/html; charset=utf-8" if form == "html" else "application/pdf"
    name = f'attachment; filename="batch-{batch}.{form}"'  # a file to keep: the page's own policy forbids inline style
    return Response(data, media_type=kind, headers={"Content-Disposition": name})


def _rows(service: Service, batch: int) -> list[store.Row]:
    with service.database.read() as c:
        store.known_batch(c, batch)
        return store.entries_of(c, batch)


def _report(service: Service, batch: int, form: str, small: dict[str, bytes]) -> bytes:
    from service.log.report_source import batch_record  # noqa: PLC0415
    from service.report.html import html_report  # noqa: PLC0415 - loads the drawing library when first needed
    from service.report.pdf import pdf_report  # noqa: PLC0415

    with service.database.read() as c:
        record = batch_record(c, batch, small)
    return html_report(record).encode() if form == "html" else pdf_report(record)


@router.get("/stock", responses=LISTED)
def stock(
    service: ServiceDep,
    response: Response,
    before: Annotated[int | None, Query(ge=1, le=MAX_ID, description="Only what was noted before this one.")] = None,
    limit: Annotated[int, Query(ge=1, le=10_000)] = POURED,
) -> dict[str, Any]:
    """The stock vessel over all batches since it was handed over. Never a drain.

    `poured` are the newest notes of it, in order; those before them are where `Link: <...>; rel="next"` says.
    """
    from dataclasses import asdict  # noqa: PLC0415

    from service.bench.vessel import waste  # noqa: PLC0415

    with service.database.read() as c:
        now = held_now(c)
        held, dangers = stock_now(c, now), dangers_now(c, None, now)
        pourings, further = poured_now(c, before=before, limit=limit, held=now)
        shared = stock_out(c)
    if further is not None:
        response.headers["Link"] = next_link("/api/stock", before=further, limit=limit)
    return {
        **held.to_dict(),
        "poured": [{"batch": batch, "at": n.at, "kind": n.kind, **n.content.fields()} for batch, n in pourings],
        "ways": [asdict(way) for way in waste.ways(held)],
        "dangers": [danger.sentence for danger in dangers],
        "holds_silver": now.holds_silver,
        "silver_words": silver_words(now),
        "silver": None if shared is None else shared.model_dump(),
        "recover": list(waste.recover(held)),
        "cautions": list(waste.cautions(held)),
    }
