"""Strip kinds over HTTP: an unused strip described from a photo, kinds saved and shown."""

from __future__ import annotations

from functools import partial
from typing import Annotated, Any, Literal

from fastapi import APIRouter, File, Form, Path, Response, UploadFile
from pydantic import BaseModel, Field
from sqlalchemy import Connection

from service.log.fields import Text
from service.log.kinds.shelf import StripKinds
from service.readers.first_day.jobs import describe_job
from service.readers.first_day.passing import passing_photo
from service.web.components import Service, ServiceDep
from service.web.once import OnceDep
from service.web.problems import ServiceProblem, responses
from service.web.routes.first_day.card import ReasonOut
from stripread.errors import CallError
from stripread.kind import ROLL_MM, StripKind, kind_from_dict, kind_text
from stripread.words import _, spoken

router = APIRouter(
    prefix="/api/strip-kinds", tags=["first day"], responses=responses(401, 403, 421, 422, 429, 500, 503)
)
Name = Annotated[Text, Field(min_length=1, max_length=200, examples=["four-pad 0-14"])]
Range = Annotated[list[float], Field(min_length=2, max_length=2, examples=[[0, 14]])]
Window = Annotated[
    list[float] | None,
    Field(min_length=2, max_length=2, examples=[[10, 60]], description="The maker's, seconds after dipping."),
]
Corner = list[float]


class PadFound(BaseModel):
    """One pad as found: mm from the dipped end, each with its standard deviation; corners, dipped end first."""

    offset_mm: float
    offset_sd_mm: float
    length_mm: float
    length_sd_mm: float
    width_mm: float
    width_sd_mm: float
    sure: bool
    doubt: str | None = Field(description="Why it is not sure.")
    corners_mm: list[Corner] = Field(description="On the card.")
    corners_px: list[Corner] = Field(description="In the photo, upright and of full size.")


class StripFound(BaseModel):
    """An unused strip as one photo shows it; null and empty where the photo was refused."""

    photo: str
    kind: Literal["strip"]
    status: Literal["ok", "doubtful", "refused"]
    width_mm: float | None
    width_sd_mm: float | None
    length_mm: float | None
    length_sd_mm: float | None
    dipped_end_sd_mm: float | None
    roll: bool
    pads: list[PadFound]
    outline_mm: list[Corner]
    outline_px: list[Corner]
    reasons: list[ReasonOut]
    picture_png: str | None = Field(
        description="What was found, drawn on the photo: a PNG file in Base64, if asked for."
    )
    sha256: str
    taken_at: str | None
    software: str
    seconds: float


class PadSaid(BaseModel):
    """One pad of a kind, mm from the dipped end."""

    offset_mm: float
    length_mm: float


class KindSaid(BaseModel):
    """A strip kind to be kept: as described, or corrected with a ruler. Of roll paper only its name and range."""

    name: Name
    range: Range
    read_after_s: Window = None
    roll: bool = Field(False, description="Paper off a roll: one colour all along; `pads` is then left out.")
    width_mm: float | None = None
    length_mm: float | None = None
    pads: list[PadSaid] | None = Field(None, max_length=24)
    replace: bool = Field(False, description="Put it in the place of another kind of this name.")


class KindOut(BaseModel):
    """A strip kind that is kept here, and the text of its file as `stripread calibrate` takes it."""

    name: str
    width_mm: float
    length_mm: float
    pads: list[PadSaid]
    range: list[float]
    read_after_s: list[float] | None
    roll: bool
    toml: str


@router.post("/describe", response_model=StripFound, responses=responses(400, 408, 413, 507))
async def describe(
    *,
    service: ServiceDep,
    photo: Annotated[UploadFile, File(description="One dry, unused strip in the lane, dipped end left, pads up.")],
    picture: Annotated[bool, Form(description="Draw what was found.")] = False,
    pads: Annotated[int | None, Form(ge=1, le=24, description="How many pads it has, counted.")] = None,
) -> Any:  # noqa: ANN401
    """Measure an unused strip: outline and pads in mm and px, what is not sure, and why. The photo is not kept."""
    async with passing_photo(service.blobs, photo.file, photo.filename) as job:
        return await service.drawings.run(partial(describe_job, spoken(), picture, pads), job)


@router.post("", status_code=201, response_model=KindOut, responses=responses(400, 409, 413, 507))
def save(body: KindSaid, once: OnceDep) -> Response:
    """Keep a strip kind. Send again with the same `Idempotency-Key`, and the first answer comes back."""
    return once.answer(body, KindOut, partial(_saved, once.service, body), 201)


@router.get("", response_model=list[KindOut])
def list_kinds(service: ServiceDep) -> Any:  # noqa: ANN401
    """All strip kinds that are kept here, by name."""
    return [_shown(kind) for kind in _shelf(service).all()]


@router.get("/{name:path}", response_model=KindOut, responses=responses(404))
def show(name: Annotated[Text, Path(min_length=1, max_length=200)], service: ServiceDep) -> Any:  # noqa: ANN401
    """One strip kind."""
    return _shown(_shelf(service).named(name))


def _shelf(service: Service) -> StripKinds:
    return StripKinds(service.settings.data / "kinds")


def _saved(service: Service, said: KindSaid, _c: Connection) -> dict[str, Any]:
    table: dict[str, Any] = {"name": said.name, "range": said.range}
    width, length, pads = said.width_mm, said.length_mm, said.pads
    if said.roll:
        width, length = width or ROLL_MM[0], length or ROLL_MM[1]
        pads = [PadSaid(offset_mm=0.0, length_mm=length)]
    table |= {} if width is None else {"width_mm": width}
    table |= {} if length is None else {"length_mm": length}
    table |= {} if pads is None else {"pads": [pad.model_dump() for pad in pads]}
    table |= {} if said.read_after_s is None else {"read_after_s": said.read_after_s}
    try:
        kind = kind_from_dict(table, said.name)
    except CallError as wrong:
        raise ServiceProblem(422, "invalid_kind", _("The strip kind does not fit: {wrong}", wrong=wrong)) from None
    return _shown(_shelf(service).save(kind, replace=said.replace))


def _shown(kind: StripKind) -> dict[str, Any]:
    table = kind.to_dict()
    return {**table, "read_after_s": table.get("read_after_s"), "roll": kind.is_roll, "toml": kind_text(kind)}
