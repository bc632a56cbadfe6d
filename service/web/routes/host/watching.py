"""Watching over HTTP: is it alive, is it ready, and its figures. For programs, not for the page."""

from __future__ import annotations

import hmac
from typing import Annotated, Literal

from fastapi import APIRouter, Header, Request, Response
from prometheus_client.exposition import choose_encoder
from pydantic import BaseModel
from sqlalchemy import text
from starlette.concurrency import run_in_threadpool

from service.web.components import Service, ServiceDep
from service.web.problems import ServiceProblem, responses
from stripread.words import _

router = APIRouter(tags=["service"], responses=responses(421, 503))


class Alive(BaseModel):
    """The process answers."""

    status: Literal["ok"]


class Ready(BaseModel):
    """The log can be asked. The counts are for those who may see the log.

    ``to_send``: photos that wait for their store; they are safe here.
    """

    status: Literal["ok"]
    being_read: int | None = None
    to_send: int | None = None


@router.get("/livez")
async def alive() -> Alive:
    """Whether the process answers at all, the log not asked; also while it stops. If not, start it anew."""
    return Alive(status="ok")


@router.get("/readyz", response_model_exclude_none=True)
def ready(request: Request, service: ServiceDep) -> Ready:
    """Whether the log's database answers; 503 while it does not, or the service stops."""
    with service.database.read() as c:
        c.execute(text("SELECT 1"))
    if not request.state.local and request.state.session is None:
        return Ready(status="ok")
    return Ready(status="ok", being_read=service.readers.taken, to_send=len(service.blobs.waiting()))


@router.get(
    "/metrics",
    response_class=Response,
    responses={**responses(401), 200: {"content": {"text/plain": {}, "application/openmetrics-text": {}}}},
)
async def metrics(
    request: Request,
    service: ServiceDep,
    authorization: Annotated[str | None, Header()] = None,
    accept: Annotated[str, Header()] = "",
) -> Response:
    """The service's figures in the open text format: on the bench computer itself, or with the token it was given.

    The token is that of the environment's `STRIPREAD_METRICS_TOKEN`, sent as `Authorization: Bearer …`.
    """
    if not request.state.local and not _known(service, authorization or ""):
        raise ServiceProblem(
            401,
            "no_token",
            _("The figures are for the bench computer itself, or for a program with its token."),
        )
    encode, media_type = choose_encoder(accept)
    body = await run_in_threadpool(encode, service.metrics.registry)
    return Response(body, media_type=media_type, headers={"Cache-Control": "no-store"})


def _known(service: Service, authorization: str) -> bool:
    token = service.settings.metrics_token
    return token is not None and hmac.compare_digest(authorization.encode(), f"Bearer {token}".encode())
