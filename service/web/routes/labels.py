"""Labels for the vessels of a batch over HTTP: a PDF to print, and the vessel that a label's code names."""

from __future__ import annotations

from dataclasses import asdict
from functools import partial
from typing import Annotated, Literal

from fastapi import APIRouter, File, Query, Request, Response, UploadFile
from pydantic import BaseModel, Field
from starlette.concurrency import run_in_threadpool

from service.authority.names import lan_address
from service.log import store
from service.log.course.labelled import Found, Labelled, labelled, labelled_in
from service.log.course.labels import label_sheet
from service.log.fields import MAX_ID, Text
from service.readers.first_day.passing import passing_photo
from service.readers.labels.codes import codes_job
from service.report.labels.address import Named, page_root
from service.settings import Settings
from service.web.components import Service, ServiceDep
from service.web.door.names import LOCAL_NAMES, name_of
from service.web.problems import responses
from service.web.routes.batches import BatchId
from service.web.routes.plan import asked
from stripread.words import spoken

router = APIRouter(prefix="/api", tags=["bench"], responses=responses(401, 403, 404, 421, 422, 429, 500, 503))


class LabelOut(BaseModel):
    """What a label's code names: a vessel, on older labels a batch; or one sentence that says why nothing was found."""

    found: Found = Field(examples=["vessel"])
    batch: int | None = Field(description="None for the stock vessel, which all batches share.")
    batch_name: str
    key: str = Field(description="The vessel, as in `/api/batches/{batch}/vessels`.", examples=["blue bucket"])
    name: str
    sentence: str = Field(description="Empty where it was found.")


@router.get("/labels/named")
def named_label(
    service: ServiceDep,
    vessel: Annotated[str, Query(pattern="^~?[a-z0-9]{1,12}$", description="Its mark in the code.")],
    log: Annotated[str, Query(pattern="^[a-z2-7]{4}$", description="The mark of its log.")],
    batch: Annotated[int | None, Query(ge=1, le=MAX_ID)] = None,
) -> LabelOut:
    """The vessel that a code names, by the parts of its address."""
    with service.database.read() as c:
        return _out(labelled(c, Named(batch, log, vessel)))


@router.post("/labels/read", responses=responses(400, 408, 413, 507))
async def read_label(
    service: ServiceDep, photo: Annotated[UploadFile, File(description="A label, its code in the picture.")]
) -> LabelOut:
    """The vessel whose label is in a photo. The photo is not kept, and nothing is logged."""
    async with passing_photo(service.blobs, photo.file, photo.filename) as job:
        seen = await service.readers.run(partial(codes_job, spoken()), job)
    if seen["refused"]:
        return _out(Labelled("none", sentence=seen["refused"]))
    return await run_in_threadpool(_looked_up, service, [(code["text"], code["side"]) for code in seen["codes"]])


def _looked_up(service: Service, codes: list[tuple[str, float]]) -> LabelOut:
    with service.database.read() as c:
        return _out(labelled_in(c, codes))


def _out(found: Labelled) -> LabelOut:
    return LabelOut(**asdict(found))


@router.get(
    "/batches/{batch}/labels.pdf",
    response_class=Response,
    responses={**responses(400), 200: {"content": {"application/pdf": {}}}},
)
def labels(
    batch: BatchId,
    service: ServiceDep,
    request: Request,
    address: Annotated[
        Annotated[Text, Query(max_length=200)] | None,
        Query(description="Where the codes lead; by default where the page was asked for, or this network's address."),
    ] = None,
    paper: Literal["a4", "letter"] = "a4",
) -> Response:
    """Labels to print and cut out: contents by the log, warnings, a code that opens the vessel on the page."""
    from service.report.labels.paper import labels_pdf  # noqa: PLC0415 - loads the type setter when first needed

    root = asked(lambda: page_root(address or own_root(service.settings, request)))
    with service.database.read() as c:
        store.known_batch(c, batch)
        sheet = asked(lambda: label_sheet(c, batch, root))
    name = f'attachment; filename="batch-{batch}-labels.pdf"'
    return Response(labels_pdf(sheet, paper), media_type="application/pdf", headers={"Content-Disposition": name})


def own_root(settings: Settings, request: Request) -> str:
    """The page's address as the asking device has it; asked from this computer itself, as a phone would have it."""
    host = request.headers.get("host", "")
    if settings.lan and name_of(host) in LOCAL_NAMES:
        host = f"{lan_address()}{host[len(name_of(host)) :]}"
    return f"{request.url.scheme}://{host}"
