"""Labels for the vessels of a batch over HTTP, as a PDF to print."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request, Response

from service.authority.names import lan_address
from service.log import store
from service.log.course.labels import label_sheet
from service.log.fields import Text
from service.report.labels.address import page_root
from service.settings import Settings
from service.web.components import ServiceDep
from service.web.door.names import LOCAL_NAMES, name_of
from service.web.problems import responses
from service.web.routes.batches import BatchId
from service.web.routes.plan import asked

router = APIRouter(prefix="/api", tags=["bench"], responses=responses(401, 403, 404, 421, 422, 429, 500, 503))


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
    """Labels to print and cut out: contents by the log, warnings, a code that opens the batch on the page."""
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
