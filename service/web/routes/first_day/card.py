"""The card over HTTP: the sheet to print, where everything lies on it, and a print judged from a photo."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Annotated, Any, Literal

from fastapi import APIRouter, File, Form, Response, UploadFile
from pydantic import BaseModel

from service.bench.typed_fields import Typed
from service.readers.first_day.jobs import judge_job, layout_job, sheet_job
from service.readers.first_day.passing import passing_photo
from service.readers.worker import Job
from service.web.components import ServiceDep
from service.web.problems import ServiceProblem, responses
from stripread.errors import CallError
from stripread.words import spoken

router = APIRouter(prefix="/api", tags=["first day"], responses=responses(401, 403, 421, 422, 429, 500, 503))
Sheet = Literal["a4", "letter"]
Measured = Annotated[float, Typed("measured_mm")]
_NO_PHOTO = Job("ph", Path("card"), "card")


class CardCheck(BaseModel):
    """One thing that was looked at."""

    check: Literal["marks", "colour", "scale", "contrast", "even", "shine"]
    state: Literal["right", "look", "wrong", "unknown"]
    message: str


class ReasonOut(BaseModel):
    """Why a photo was refused, or what is doubted, with what to do."""

    code: str
    severity: Literal["refuse", "doubt", "note"]
    message: str


class CardVerdict(BaseModel):
    """A printed card judged; ``verdict`` is null, and there are no checks, where the photo was refused."""

    photo: str
    kind: Literal["card"]
    status: Literal["ok", "doubtful", "refused"]
    verdict: Literal["ok", "look_twice", "print_again"] | None
    message: str
    checks: list[CardCheck]
    reasons: list[ReasonOut]
    sha256: str
    taken_at: str | None
    software: str
    seconds: float


@router.get("/card.pdf", response_class=Response, responses={200: {"content": {"application/pdf": {}}}})
async def card_to_print(service: ServiceDep, paper: Sheet = "a4") -> Response:
    """The sheet with two cards, to be printed at 100 %, in colour, on matt paper."""
    data = await service.pictures.run(partial(sheet_job, paper), _NO_PHOTO)
    headers = {"Content-Disposition": f'inline; filename="card-{paper}.pdf"', "Cache-Control": "no-cache"}
    return Response(data, media_type="application/pdf", headers=headers)


@router.get("/card/layout", response_class=Response, responses={200: {"content": {"application/json": {}}}})
async def card_layout(service: ServiceDep, paper: Sheet = "a4") -> Response:
    """Where marks, patches, lane and windows lie, in mm from the card's top left corner, x to the right, y down."""
    text = await service.pictures.run(partial(layout_job, paper), _NO_PHOTO)
    return Response(text, media_type="application/json", headers={"Cache-Control": "no-cache"})


@router.post("/card/judge", response_model=CardVerdict, responses=responses(400, 408, 413, 507))
async def judge_print(
    *,
    service: ServiceDep,
    photo: Annotated[UploadFile, File(description="The printed card, nothing laid on it.")],
    measured_mm: Annotated[
        Measured | None, Form(description="Length of the sheet's bar by a ruler, mm; it must be 100.")
    ] = None,
) -> Any:  # noqa: ANN401
    """Say whether a print is good enough to work with, check by check. The photo is not kept."""
    try:
        async with passing_photo(service.blobs, photo.file, photo.filename) as job:
            return await service.readers.run(partial(judge_job, spoken(), measured_mm), job)
    except CallError as wrong:
        raise ServiceProblem(422, "invalid_request", str(wrong)) from None
