"""Batches over HTTP: start, list, rename, close, export."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

from fastapi import APIRouter, Path, Query, Response
from fastapi.responses import StreamingResponse
from sqlalchemy import Connection

from service.bench.procedure import shipped
from service.log import store
from service.log.course.forecast import forecast_now
from service.log.course.moving import choose_procedure
from service.log.course.state import neutral_band
from service.log.fields import MAX_ID
from service.log.listing import csv_export, json_export, pieces
from service.log.models import now
from service.readers.earlier.blank import blank_of
from service.web.components import ServiceDep
from service.web.once import OnceDep
from service.web.problems import responses
from service.web.routes.paging import LISTED, next_link
from service.web.routes.plan import asked
from service.web.schemas import Batch, BatchChange, BatchPage, Event, Forecast, NewBatch, Water, wire_forecast

router = APIRouter(prefix="/api/batches", tags=["batches"], responses=responses(401, 403, 421, 422, 429, 500, 503))
BATCHES = 500  # in one answer, where nobody says how many
BatchId = Annotated[int, Path(ge=1, le=MAX_ID, examples=[1])]


@router.post("", status_code=201, response_model=Batch, responses=responses(400, 413, 507))
def start_batch(body: NewBatch, once: OnceDep) -> Response:
    """Start a batch. Sent again with its `Idempotency-Key` it gets the first answer."""

    def act(c: Connection) -> Batch:
        named = body.procedure
        procedure = None if named is None else asked(lambda: shipped(named))
        number = store.add_batch(c, body.name, body.zone)
        if body.water is not None:
            store.change_batch(c, number, name=None, closed=None, details=body.water.model_dump(exclude_none=True))
        if procedure is not None:
            choose_procedure(c, number, procedure)
        return _out(store.known_batch(c, number))

    return once.answer(body, Batch, act, 201)


@router.get("", responses=LISTED)
def list_batches(
    service: ServiceDep,
    response: Response,
    after: Annotated[int | None, Query(ge=1, le=MAX_ID, description="Only those that come after this one.")] = None,
    limit: Annotated[int, Query(ge=1, le=1000)] = BATCHES,
) -> list[Batch]:
    """Batches, newest first; where there are more than `limit`, `Link: <...>; rel="next"` says where they are."""
    with service.database.read() as c:
        found = store.all_batches(c, after=after, limit=limit + 1)
    if len(found) > limit:
        found = found[:limit]
        response.headers["Link"] = next_link("/api/batches", after=found[-1]["id"], limit=limit)
    return [_out(row) for row in found]


@router.get("/{batch}", responses=responses(404))
def show_batch(batch: BatchId, service: ServiceDep) -> BatchPage:
    """One batch with its history and its wash forecast."""
    with service.database.read() as c:
        row = store.known_batch(c, batch)
        count = store.count_entries(c, batch)
        forecast, neutral = forecast_now(c, row), neutral_band(c, batch)
        events = store.batch_events(c, batch)
    return BatchPage(
        **_out(row).model_dump(exclude={"entries"}),
        entries=count,
        events=[Event(**e) for e in events],
        forecast=wire_forecast(forecast),
        neutral=list(neutral),
    )


@router.patch("/{batch}", response_model=Batch, responses=responses(400, 404, 409, 413, 507))
def change_batch(batch: BatchId, body: BatchChange, once: OnceDep) -> Response:
    """Rename, close or open again a batch, name its rinse water or its zone. Its history keeps what was before."""

    def act(c: Connection) -> Batch:
        store.known_batch(c, batch)
        details = body.water.model_dump(exclude_none=True) if body.water else None
        if details and "blank_entry" in details:
            blank_of(c, batch, details["blank_entry"])
        why = {name: said for name, said in (("reason", body.reason), ("who", body.who)) if said}
        store.change_batch(c, batch, name=body.name, closed=body.closed, details=details, why=why, zone=body.zone)
        return _out(store.known_batch(c, batch))

    return once.answer(body, Batch, act)


@router.get("/{batch}/forecast", responses=responses(404))
def forecast(batch: BatchId, service: ServiceDep) -> Forecast:
    """How many further washes until the rinse is neutral, with an interval, or why that can't be told."""
    with service.database.read() as c:
        return wire_forecast(forecast_now(c, store.known_batch(c, batch)))


@router.get(
    "/{batch}/export.json",
    response_class=Response,
    responses={**responses(404), 200: {"content": {"application/json": {}}}},
)
def export_json(batch: BatchId, service: ServiceDep) -> Response:
    """Everything about a batch as one JSON object."""
    with service.database.read() as c:
        row, events = store.known_batch(c, batch), store.batch_events(c, batch)
    head = {"batch": _out(row).model_dump(), "events": events, "exported_at": now()}
    return _download(json_export(head, pieces(service.database, batch)), "application/json", f"batch-{batch}.json")


@router.get(
    "/{batch}/export.csv", response_class=Response, responses={**responses(404), 200: {"content": {"text/csv": {}}}}
)
def export_csv(
    batch: BatchId,
    service: ServiceDep,
    after: Annotated[int, Query(ge=0, le=MAX_ID, description="Only entries after this one, without the head.")] = 0,
) -> Response:
    """A batch's entries as CSV, corrections and what they correct included.

    A download that broke off goes on with `after`, the `id` of its last whole row. `Stripread-Entries` says how many
    entries the batch has.
    """
    with service.database.read() as c:
        store.known_batch(c, batch)
        count = store.count_entries(c, batch)
    content = csv_export(pieces(service.database, batch, after), head=after == 0)
    answer = _download(content, "text/csv; charset=utf-8", f"batch-{batch}.csv")
    answer.headers["Stripread-Entries"] = str(count)
    return answer


def _download(content: Iterator[str], media_type: str, name: str) -> Response:
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return StreamingResponse(content, media_type=media_type, headers=headers)


def _out(row: store.Row) -> Batch:
    return Batch(
        water=Water(**row["details"]),
        entries=row.get("entries"),
        bench=row.get("bench"),
        **{k: row[k] for k in ("id", "name", "opened_at", "closed_at", "zone")},
    )
