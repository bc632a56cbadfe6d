"""Pictures over HTTP: the photo of an entry, a small one, and its reading drawn. Made in pools of their own.

They never take a reader's place, and their processes stand back behind the readers.
"""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request, Response
from starlette.concurrency import run_in_threadpool

from service.log import store
from service.readers.jobs import job_again
from service.readers.pictures import NotAPicture, clean_job, thumbnail_job
from service.readers.worker import Job, overlay_job
from service.web.components import Service, ServiceDep
from service.web.kept_pictures import overlay_name, shared_name, thumbnail_name
from service.web.problems import ServiceProblem, responses
from service.web.routes.readings import EntryId
from stripread.words import _

router = APIRouter(prefix="/api", tags=["readings"], responses=responses(401, 403, 421, 422, 429, 500, 503))
_PICTURE: dict[int | str, dict[str, Any]] = {200: {"content": {"image/jpeg": {}}}}


@router.get("/readings/{entry}/photo", response_class=Response, responses={**responses(404, 409), **_PICTURE})
async def show_photo(entry: EntryId, request: Request, service: ServiceDep) -> Response:
    """The photo with its pixels as they came, but without place, owner and other metadata."""
    job, _ = await run_in_threadpool(_job, service, entry)
    service.picture_rate.allow(request)
    try:
        return _picture(await service.pictures.run(clean_job, job), "image/jpeg")
    except (NotAPicture, FileNotFoundError):
        raise _no_picture() from None


@router.get("/readings/{entry}/thumbnail", response_class=Response, responses={**responses(404, 409), **_PICTURE})
async def show_thumbnail(entry: EntryId, request: Request, service: ServiceDep) -> Response:
    """A small picture of the photo."""
    job, row = await run_in_threadpool(_job, service, entry)
    try:
        picture = await service.kept.get(
            thumbnail_name(row["photo_sha256"]),
            lambda: service.pictures.run(thumbnail_job, job),
            lambda: service.picture_rate.allow(request),
        )
    except (NotAPicture, FileNotFoundError):
        raise _no_picture() from None
    return _picture(picture, "image/jpeg")


@router.get(
    "/readings/{entry}/overlay",
    response_class=Response,
    responses={**responses(404, 409), 200: {"content": {"image/png": {}}}},
)
async def show_overlay(entry: EntryId, request: Request, service: ServiceDep) -> Response:
    """A picture of the reading: what was found in the photo, colours, value and interval."""
    job, row = await run_in_threadpool(_job, service, entry)
    return _picture(await _overlay(service, job, row, request), "image/png")


@router.get(
    "/readings/{entry}/share.png",
    response_class=Response,
    responses={**responses(404, 409), 200: {"content": {"image/png": {}}}},
)
async def share(entry: EntryId, request: Request, service: ServiceDep) -> Response:
    """One reading as a picture to send on: its drawing, value and interval, state, time, batch, and the cautions."""
    job, row = await run_in_threadpool(_job, service, entry)
    words = await run_in_threadpool(_words, service, row)
    drawing = await _overlay(service, job, row, request)
    name = shared_name(overlay_name(row["photo_sha256"], row["profile_sha256"], job), words)

    async def make() -> bytes:
        from service.report.shared_picture import shared_picture  # noqa: PLC0415 - loads the drawing library

        return await run_in_threadpool(shared_picture, drawing, words)

    picture = await service.kept.get(name, make, lambda: None)
    headers = {
        "Cache-Control": "private, no-cache",  # a correction, a batch's or a phone's new name change it
        "Content-Disposition": f'inline; filename="reading-{entry}.png"',
    }
    return Response(picture, media_type="image/png", headers=headers)


async def _overlay(service: Service, job: Job, row: store.Row, request: Request) -> bytes:
    try:
        return await service.kept.get(
            overlay_name(row["photo_sha256"], row["profile_sha256"], job),
            lambda: service.drawings.run(overlay_job, job),
            lambda: service.drawing_rate.allow(request),
        )
    except (NotAPicture, FileNotFoundError):
        raise _no_picture() from None


def _words(service: Service, row: store.Row) -> Any:  # noqa: ANN401 - SharedWords, whose library loads when first needed
    from service.log.finding.sharing import shared_words  # noqa: PLC0415

    with service.database.read() as c:
        return shared_words(row, store.known_batch(c, row["batch_id"]), store.corrector(c, row["id"]))


def _job(service: Service, entry: int) -> tuple[Job, store.Row]:
    with service.database.read() as c:
        row = store.known_entry(c, entry)
        text = store.profile_text(c, row["profile_sha256"]) if row["profile_sha256"] else None
    profile = None if text is None else service.profiles.keep(text).path
    return job_again(row, service.blobs, profile), row


def _no_picture() -> ServiceProblem:
    return ServiceProblem(
        409, "not_a_picture", _("What was sent is no picture that can be shown. The file is kept in the data folder.")
    )


def _picture(data: bytes, media_type: str) -> Response:
    return Response(data, media_type=media_type, headers={"Cache-Control": "private, max-age=31536000, immutable"})
