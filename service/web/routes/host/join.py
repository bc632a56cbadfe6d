"""Pairing over HTTP. Making links and shutting phones out is for the bench computer itself."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Path, Request, Response
from sqlalchemy import text

from service.bench.stages.gate_kinds import NEUTRAL
from service.log.benches.asking import asks
from service.log.benches.rows import name_of
from service.log.chain.known_by import log_mark
from service.log.fields import MAX_ID
from service.web.components import Service, ServiceDep
from service.web.pairing import COOKIE, SECURE_COOKIE
from service.web.problems import ServiceProblem, responses
from service.web.schemas import About, BenchName, Health, Join, LinkOut, SessionOut, StripProfile
from stripread.results import SOFTWARE
from stripread.tint.cells_age import HOURS
from stripread.words import _

router = APIRouter(tags=["service"], responses=responses(401, 403, 421, 422, 429, 500, 503))


def _local_only(request: Request) -> None:
    if not request.state.local:
        raise ServiceProblem(403, "only_here", _("This can be done only on the bench computer itself."))


LOCAL = [Depends(_local_only)]


@router.get("/healthz")
def health(service: ServiceDep) -> Health:
    """Whether the log can be asked, and how many photos wait; 503 when it can't."""
    with service.database.read() as c:
        c.execute(text("SELECT 1"))
    return Health(status="ok", software=SOFTWARE, waiting=service.readers.taken)


@router.get("/api/about")
def about(request: Request, service: ServiceDep) -> About:
    """What the page needs to know."""
    with service.database.read() as c:
        mark = log_mark(c)
    return About(
        software=SOFTWARE,
        max_body=service.settings.max_body,
        kinds=service.profiles.available(),
        profiles=[StripProfile(**vars(known)) for known in service.profiles.strips()],
        local=request.state.local,
        neutral=list(NEUTRAL),
        cells_hours=HOURS,
        trust=service.keeper is not None,
        demo=service.settings.demo,
        log_mark=mark,
        bench=_bench_name(service),
    )


def _bench_name(service: Service) -> BenchName | None:
    bench = asks()
    if bench is None:
        return None
    with service.database.read() as c:
        return BenchName(id=bench, name=name_of(c, bench))


@router.post("/api/join", status_code=204, responses=responses(400, 413, 507))
def join(body: Join, request: Request, service: ServiceDep) -> Response:
    """Pair this device: the token of the link becomes a cookie of its own."""
    secret = service.pairing.join(body.token, request.headers.get("user-agent", "unknown device"))
    if secret is None:
        raise ServiceProblem(
            403, "wrong_token", _("This link is no longer valid. Scan the code that the bench computer shows now.")
        )
    response = Response(status_code=204)
    secure = request.url.scheme == "https"
    response.set_cookie(
        SECURE_COOKIE if secure else COOKIE,
        secret,
        max_age=int(service.settings.session_age),
        httponly=True,
        samesite="strict",
        secure=secure,
    )
    return response


@router.get(
    "/api/pairing/qr.svg",
    dependencies=LOCAL,
    response_class=Response,
    responses={200: {"content": {"image/svg+xml": {}}}},
)
def qr(service: ServiceDep) -> Response:
    """The link as a QR code."""
    return Response(service.pairing.qr_svg(), media_type="image/svg+xml")


@router.get("/api/pairing", dependencies=LOCAL)
def link_bounds(service: ServiceDep) -> LinkOut:
    """How many phones the link still lets in, and until when."""
    return LinkOut(**vars(service.pairing.bounds()))


@router.post("/api/pairing/renew", dependencies=LOCAL, status_code=204)
def renew(service: ServiceDep) -> Response:
    """Make a new link; the old one stops working."""
    service.pairing.renew()
    return Response(status_code=204)


@router.get("/api/sessions", dependencies=LOCAL)
def list_sessions(service: ServiceDep) -> list[SessionOut]:
    """The paired phones."""
    return [SessionOut(**vars(s)) for s in service.pairing.all()]


@router.delete("/api/sessions/{session}", dependencies=LOCAL, status_code=204, responses=responses(404))
def revoke(session: Annotated[int, Path(ge=1, le=MAX_ID)], service: ServiceDep) -> Response:
    """Shut a phone out at once."""
    if not service.pairing.revoke(session):
        raise ServiceProblem(404, "no_such_session", _("There is no such phone, or it is shut out already."))
    return Response(status_code=204)
