"""Trusting the service's own certificate over HTTP: the page that says how, the certificate, a mark that was seen."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response
from fastapi.responses import FileResponse, HTMLResponse

from service.authority.keeper import Keeper
from service.authority.names import lan_address
from service.web.components import Service, ServiceDep
from service.web.door.names import https_root, name_of
from service.web.door.trust_page import FILES, trust_page
from service.web.problems import ServiceProblem
from stripread.words import _

router = APIRouter(include_in_schema=False)
_FRESH = {"Cache-Control": "no-cache"}  # asked for again, as the page's own files are: versions must not mix


def _keeper(service: Service) -> Keeper:
    if service.keeper is None:
        raise ServiceProblem(
            404, "no_authority", _("This service has no certificate of its own: `stripread serve --lan` makes one.")
        )
    return service.keeper


@router.get("/trust")
def page(request: Request, service: ServiceDep) -> Response:
    """How to trust it, in the reader's language."""
    keeper = _keeper(service)
    called = name_of(request.headers.get("host", ""))
    # Called by a name that the certificate may not have, this computer is reached by its address.
    secure = https_root(service.settings, called) or https_root(service.settings, lan_address()) or ""
    html = trust_page(keeper.root, secure, service.settings.port, local=request.state.local)
    policy = (
        f"default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self' {secure}; "
        "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )
    return HTMLResponse(html, headers={"Content-Security-Policy": policy, "Cache-Control": "no-store"})


@router.get("/trust/ca.crt")
def certificate(service: ServiceDep) -> Response:
    """The authority's certificate: DER, under the media type that phones know authorities by (from memory)."""
    return Response(
        _keeper(service).root.der(),
        media_type="application/x-x509-ca-cert",
        headers={"Content-Disposition": 'attachment; filename="stripread-bench.crt"', "Cache-Control": "no-store"},
    )


@router.get("/trust/seen", status_code=204)
def seen(service: ServiceDep) -> Response:
    """Nothing: that it could be asked for over TLS tells the page without TLS that the phone trusts the certificate."""
    _keeper(service)
    told = {"Cross-Origin-Resource-Policy": "cross-origin", "Cache-Control": "no-store"}
    return Response(status_code=204, headers=told)


@router.get("/trust/trust.js")
def script() -> Response:
    """The page's script."""
    return FileResponse(FILES / "trust.js", media_type="text/javascript; charset=utf-8", headers=_FRESH)


@router.get("/trust/trust.css")
def style() -> Response:
    """What the page has beside the other page's style."""
    return FileResponse(FILES / "trust.css", media_type="text/css; charset=utf-8", headers=_FRESH)
