"""Finding again over HTTP: search over batches, notes and readings; the phones by the names that their users give."""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime
from typing import TYPE_CHECKING, Annotated, Any, Literal

from fastapi import APIRouter, Path, Query, Response
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from service.bench.notes import KINDS
from service.log.aside import phones as log_phones
from service.log.aside.stages import shipped_stages
from service.log.fields import MAX_ID, Text
from service.log.finding.search import LIMIT, MOST, search
from service.log.finding.sources import Wanted
from service.log.listing import csv_text
from service.log.search_words.rows import INNER
from service.web.components import Service, ServiceDep
from service.web.problems import responses
from service.web.routes.plan import asked
from stripread.words import say

if TYPE_CHECKING:
    from service.report.comparison import Comparison

router = APIRouter(prefix="/api", tags=["finding"], responses=responses(401, 403, 404, 421, 422, 429, 500, 503))

BatchNumbers = Annotated[
    list[Annotated[int, Field(ge=1, le=MAX_ID)]],
    Query(min_length=1, max_length=20, description="Once for each batch, in the order in which they stand."),
]


class Hit(BaseModel):
    """A batch, a note or a reading that was found."""

    what: Literal["batch", "note", "reading"]
    id: int
    batch: int
    batch_name: str
    closed: bool
    stage: str = Field(description="Id of the stage that its batch is in now.")
    kind: str = Field(examples=["decant"])
    at: str
    text: str
    status: str | None = Field(description="Of a reading: ok, doubtful, refused.")
    wash: int | None
    phone: str | None
    counts: bool = Field(description="It is neither struck out, nor corrected or withdrawn.")


class Hits(BaseModel):
    """One page of what was found, newest first."""

    found: list[Hit]
    after: str | None = Field(description="Send it back as `after` for the next page; null where this was the last.")


class Choice(BaseModel):
    """One thing to choose from, with the word to show."""

    id: str
    title: str


class Choices(BaseModel):
    """What a search may be narrowed to."""

    kinds: list[Choice]
    stages: list[Choice]


class PhoneOut(BaseModel):
    """A phone whose photos are in the log."""

    id: int
    make: str
    model: str
    name: str | None
    label: str = Field(description="What it is called beside readings.", examples=["workshop phone"])
    photos: int


class PhoneName(BaseModel):
    """What a phone is called from now on; empty takes its name away."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"name": "workshop phone"}]})
    name: Annotated[Text, Field(max_length=200)]


@router.get("/search")
def find(  # noqa: PLR0917 - query parameters, given by name
    service: ServiceDep,
    words: Annotated[Text, Query(max_length=200, description="All of them must be there, in any order.")] = "",
    kind: Annotated[str | None, Query(max_length=40, description="batch, a kind of note, or of reading.")] = None,
    state: Annotated[Literal["open", "closed"] | None, Query(description="Of the batch.")] = None,
    stage: Annotated[Text | None, Query(max_length=100, description="Id of the stage that the batch is in.")] = None,
    status: Annotated[Literal["ok", "doubtful", "refused"] | None, Query(description="Of a reading.")] = None,
    since: Annotated[AwareDatetime | None, Query(description="From then on, ISO 8601 with its zone.")] = None,
    until: Annotated[AwareDatetime | None, Query(description="Before then.")] = None,
    batch: Annotated[int | None, Query(ge=1, le=MAX_ID)] = None,
    limit: Annotated[int, Query(ge=1, le=MOST)] = LIMIT,
    after: Annotated[Text | None, Query(max_length=80)] = None,
) -> Hits:
    """Batches by name, notes by what was written down, readings by their note or phone; newest first, page by page.

    Words are found in either case and in any alphabet. A page may hold fewer than `limit`, or none, and still have an
    `after`: then there is more to look through.
    """
    wanted = Wanted(words, kind or None, state, stage or None, status, _utc(since), _utc(until), batch)
    with service.database.read() as c:
        page = asked(lambda: search(c, wanted, limit=limit, after=after))
    return Hits(found=[Hit(**asdict(found)) for found in page.found], after=page.after)


def _utc(at: datetime | None) -> datetime | None:
    """The same time; none so near the ends of the calendar that another zone would not have it."""
    return None if at is None or not 2 <= at.year <= 9998 else at


@router.get("/search/choices")
def choices() -> Choices:
    """The kinds of things and the stages of the shipped procedures, to choose from."""
    readings = [("ph", "pH reading"), ("tint", "copper tint"), ("solid", "solid"), ("cells", "pair of vials")]
    notes = [(k, content.label or k.replace("_", " ")) for k, content in KINDS.items() if k not in INNER]
    return Choices(
        kinds=[Choice(id=k, title=say(title)) for k, title in [("batch", "batch"), *readings, *notes]],
        stages=[Choice(id=k, title=say(title)) for k, title in shipped_stages()],
    )


@router.get("/compare")
def compare_batches(batch: BatchNumbers, service: ServiceDep) -> dict[str, Any]:
    """Two to eight batches beside each other: washes, time, water, share held back, yield, silver lost by step.

    Ranges are [low, value, high]; `points` are the pH readings of washes, for a plot; null is what nobody
    can tell.
    """
    return _compared(service, batch).to_dict()


@router.get("/compare.csv", response_class=Response, responses={200: {"content": {"text/csv": {}}}})
def compare_as_csv(batch: BatchNumbers, service: ServiceDep) -> Response:
    """The same as CSV, one row a batch."""
    headers = {"Content-Disposition": 'attachment; filename="comparison.csv"'}
    return Response(csv_text(_compared(service, batch).csv_rows()), media_type="text/csv", headers=headers)


def _compared(service: Service, numbers: list[int]) -> Comparison:
    from service.log.finding.compare import compare  # noqa: PLC0415 - loads the forecast's tables

    with service.database.read() as c:
        return asked(lambda: compare(c, numbers))


@router.get("/phones")
def list_phones(service: ServiceDep) -> list[PhoneOut]:
    """The phones that took the photos, by their EXIF; a photo that names none is of an unknown phone."""
    with service.database.read() as c:
        return [_out(phone) for phone in log_phones.all_phones(c)]


@router.patch("/phones/{phone}", responses=responses(400, 404, 413, 507))
def name_phone(phone: Annotated[int, Path(ge=1, le=MAX_ID)], body: PhoneName, service: ServiceDep) -> PhoneOut:
    """Give a phone the name that is shown with its readings, earlier ones too."""
    with service.database.write(alone=True) as c:
        return _out(log_phones.name_phone(c, phone, body.name))


def _out(phone: log_phones.Phone) -> PhoneOut:
    return PhoneOut(**asdict(phone), label=phone.label)
