"""A batch's timeline over HTTP: one list, newest first, its balance and forecast above it; notes put right in place."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Path, Query, Response
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy import Connection

from service.bench.question import Question
from service.bench.state_view import BalanceView, GateView, balance_view
from service.log import store
from service.log.course.forecast import forecast_now
from service.log.course.state import batch_state
from service.log.fields import MAX_ID, Text
from service.log.notes import Said, dangers_of_batch
from service.log.timeline.amending import amend_note, answer_note, undo_note, withdraw_note
from service.log.timeline.asked import next_wash
from service.log.timeline.build import timeline
from service.web.components import ServiceDep
from service.web.once import OnceDep
from service.web.problems import ServiceProblem, responses
from service.web.routes.batches import BatchId
from service.web.routes.plan import asked
from service.web.schemas import Forecast, wire_forecast

router = APIRouter(prefix="/api/batches/{batch}", tags=["timeline"], responses=responses(401, 403, 421, 422, 429, 500))
NoteId = Annotated[int, Path(ge=1, le=MAX_ID, examples=[1])]


class ChangeOut(BaseModel):
    """One change of an entry: when, who and why, and what the entry said before it."""

    model_config = ConfigDict(from_attributes=True)
    number: int
    at: str
    what: Literal["corrected", "withdrawn", "put back", "answered", "read again"]
    who: str | None
    why: str | None
    before: str


class ItemOut(BaseModel):
    """One entry of the timeline."""

    model_config = ConfigDict(from_attributes=True)
    source: Literal["reading", "note", "batch"]
    number: int = Field(description="What to correct, withdraw or undo it by.")
    kind: str
    at: str
    standing: Literal["counts", "asked", "withdrawn", "unreadable"] = Field(
        description="`asked`: in the log, and counts for no gate, forecast or balance until it is answered."
    )
    words: str
    who: str | None
    asked: list[Question]
    history: list[ChangeOut]
    actions: list[Literal["correct", "withdraw", "put_back", "undo"]]
    data: dict[str, Any] | None = Field(description="A note's fields, or what was done to the batch.")
    reading: dict[str, Any] | None = Field(description="A reading's JSON with its `log`.")
    dangers: list[str]


class Timeline(BaseModel):
    """A batch in one list, newest first, with what stands above it."""

    gate: GateView
    balance: BalanceView | None
    forecast: Forecast
    next_wash: int = Field(description="The wash number to propose for the next photo.")
    waiting: int = Field(description="Entries that wait for an answer.")
    total: int
    entries: list[ItemOut]


class NoteCorrection(BaseModel):
    """What to do to a note: give one of `data`, `withdraw`, `undo`, `answer`."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {"why": "a digit left out", "by": "M.", "data": {"grams": 412.0}},
                {"why": "wrong batch", "withdraw": True},
                {"why": "it was right", "undo": True},
            ]
        }
    )
    why: Annotated[Text, Field(min_length=1, max_length=500)]
    by: Annotated[Text, Field(max_length=100)] = ""
    data: Annotated[dict[Annotated[str, Field(max_length=40)], Any], Field(max_length=20)] | None = None
    withdraw: bool = False
    undo: bool = Field(False, description="Takes its withdrawal back, else its newest correction.")
    answer: bool = Field(False, description="It counts as another one beside the earlier: the answer to a question.")
    keep: bool = Field(False, description="Where it would be asked about, keep it unanswered instead of refusing it.")


class Written(BaseModel):
    """The number of what was written into the log."""

    id: int


@router.get("/timeline", response_model=Timeline, responses=responses(404))
def show_timeline(
    batch: BatchId,
    service: ServiceDep,
    limit: Annotated[int, Query(ge=1, le=1000)] = 100,
    skip: Annotated[int, Query(ge=0, le=MAX_ID)] = 0,
) -> Response:
    """Photos, weights, decants, pourings, stages and what was done to the batch: newest first, each one once."""
    with service.database.read() as c:
        row = store.known_batch(c, batch)
        dangers = dangers_of_batch(c, batch)
        items, total = timeline(c, row, limit, skip, dangers)
        state = asked(lambda: batch_state(c, batch, dangers))
        forecast, proposed = forecast_now(c, row), next_wash(c, row)
    whole = Timeline(
        gate=GateView(state=state.verdict.state, sentence=state.verdict.sentence),
        balance=None if state.balance is None else balance_view(state.balance),
        forecast=wire_forecast(forecast),
        next_wash=proposed,
        waiting=state.unanswered,
        total=total,
        entries=[ItemOut.model_validate(item) for item in items],
    )
    return Response(whole.model_dump_json(), media_type="application/json")  # checked once, not once more on its way


@router.post(
    "/notes/{note}/corrections",
    status_code=201,
    response_model=Written,
    responses=responses(400, 404, 409, 413, 507),
)
def correct_note(batch: BatchId, note: NoteId, body: NoteCorrection, once: OnceDep) -> Response:
    """Correct, withdraw or undo a note, or answer what is asked about it. The old one stays in its history."""
    given = [body.data is not None, body.withdraw, body.undo, body.answer]
    if sum(given) != 1:
        raise ServiceProblem(422, "bad_correction", "Give one of data, withdraw, undo, answer.")
    said = Said(body.by or None, body.keep, body.why, keyed=once.key is not None)

    def act(c: Connection) -> Written:
        store.known_batch(c, batch)
        if body.data is not None:
            data = body.data
            return Written(id=asked(lambda: amend_note(c, batch, note, data, said)).id)
        do = withdraw_note if body.withdraw else undo_note if body.undo else answer_note
        return Written(id=asked(lambda: do(c, batch, note, said)).id)

    return once.answer(body, Written, act, 201)
