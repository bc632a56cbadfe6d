"""Errors of the HTTP service as problem details (RFC 9457): one shape, with a sentence that says what to do."""

from __future__ import annotations

from http import HTTPStatus
from pathlib import Path
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from pydantic import BaseModel, Field
from sqlalchemy.exc import SQLAlchemyError
from starlette.exceptions import HTTPException

from service.bench.quantities import WrongQuantity
from service.errors import BenchBusy, Conflict, DiskFull, NotFound, PhotoProblem, ServiceError, WrongStatement
from service.web.bench_faults import fault_of
from stripread.words import N_, _, say

MEDIA_TYPE = "application/problem+json"


class Problem(BaseModel):
    """A problem detail. ``code`` is stable; ``detail`` is for people."""

    type: str = Field("about:blank", examples=["about:blank"])
    title: str = Field(examples=["Not Found"])
    status: int = Field(examples=[404])
    detail: str = Field(examples=["There is no batch 17."])
    code: str = Field(examples=["no_such_batch"])
    errors: list[dict[str, Any]] | None = None
    choices: list[str] | None = Field(None, description="Ways to write what may have been meant: ask which.")


class ServiceProblem(Exception):  # noqa: N818 - the RFC's own word
    """Stop this request with a problem.

    Parameters
    ----------
    status
        HTTP status.
    code
        Stable short name.
    detail
        What happened and what to do.
    retry_after
        Seconds after which trying again makes sense, for the header of that name.
    choices
        Ways to write what may have been meant, where the problem is a question.
    """

    def __init__(
        self, status: int, code: str, detail: str, retry_after: int | None = None, choices: tuple[str, ...] = ()
    ) -> None:
        super().__init__(detail)
        self.status = status
        self.code = code
        self.detail = detail
        self.retry_after = retry_after
        self.choices = choices


def of_quantity(wrong: WrongQuantity) -> ServiceProblem:
    """What was typed is no quantity, or may be two: 422 with the choices."""
    return ServiceProblem(422, wrong.code, str(wrong), choices=wrong.choices)


# Whose fault it is, as the status that says so.
STATUS: dict[type[ServiceError], HTTPStatus] = {
    NotFound: HTTPStatus.NOT_FOUND,
    Conflict: HTTPStatus.CONFLICT,
    WrongStatement: HTTPStatus.UNPROCESSABLE_ENTITY,
    PhotoProblem: HTTPStatus.UNPROCESSABLE_ENTITY,
    BenchBusy: HTTPStatus.SERVICE_UNAVAILABLE,
    DiskFull: HTTPStatus.INSUFFICIENT_STORAGE,
}


def answer(
    status: int,
    code: str,
    detail: str,
    *,
    retry_after: int | None = None,
    errors: list[dict[str, Any]] | None = None,
    choices: tuple[str, ...] = (),
) -> JSONResponse:
    """One problem as a response."""
    body = Problem(
        type="about:blank",
        title=HTTPStatus(status).phrase,
        status=status,
        detail=detail,
        code=code,
        errors=errors,
        choices=list(choices) or None,
    )
    headers = {} if retry_after is None else {"Retry-After": str(retry_after)}
    return JSONResponse(body.model_dump(exclude_none=True), status, headers, MEDIA_TYPE)


_CODES = {
    401: "not_paired",
    404: "no_such_thing",
    405: "wrong_method",
    408: "too_slow",
    413: "too_large",
    400: "bad_request",
    503: "stopping",
}
_DETAILS = {
    404: N_("There is nothing at this address."),
    405: N_("This address does not take that method."),
    413: N_("The body is larger than this service takes. Send a smaller photo."),
}


def of_service(error: ServiceError) -> JSONResponse:
    """An error of the bench computer as a response."""
    return answer(STATUS[type(error)], error.code, error.detail, retry_after=error.retry_after)


def add_handlers(app: FastAPI, folder: Path | None = None) -> None:
    """Answer every error of ``app`` as a problem; ``folder`` is that of the log."""

    async def on_problem(_: Request, error: Exception) -> JSONResponse:
        assert isinstance(error, ServiceProblem)
        return answer(error.status, error.code, error.detail, retry_after=error.retry_after, choices=error.choices)

    async def on_service_error(_: Request, error: Exception) -> JSONResponse:
        assert isinstance(error, ServiceError)
        return of_service(error)

    async def on_http(_: Request, error: Exception) -> JSONResponse:
        assert isinstance(error, HTTPException)
        # The form parser hides a full disk behind a 400; look at what it came from.
        fault = fault_of(error, folder)
        if fault is not None:
            return of_service(fault)
        detail = say(_DETAILS.get(error.status_code, str(error.detail)))
        response = answer(error.status_code, _CODES.get(error.status_code, "refused"), detail)
        for name, value in (error.headers or {}).items():
            response.headers[name] = value
        return response

    async def on_invalid(_unused: Request, error: Exception) -> JSONResponse:
        assert isinstance(error, RequestValidationError)
        typed = [(e["loc"][-1], e.get("ctx", {}).get("error")) for e in error.errors()]
        for where, wrong in typed:
            if isinstance(wrong, WrongQuantity):
                asked = wrong.at(str(where))
                return answer(422, asked.code, str(asked), choices=asked.choices)
        errors = [{"where": ".".join(str(p) for p in e["loc"]), "what": e["msg"]} for e in error.errors()]
        said = "; ".join(f"{e['where']}: {e['what']}" for e in errors[:5])
        return answer(422, "invalid_request", _("The request does not fit: {said}", said=said), errors=errors)

    async def on_trouble(_unused: Request, error: Exception) -> JSONResponse:
        fault = fault_of(error, folder)
        if fault is not None:
            return of_service(fault)
        return answer(
            500,
            "internal",
            _("Something went wrong here. Nothing was stored by this request. Send it again."),
            retry_after=5,
        )

    app.add_exception_handler(ServiceProblem, on_problem)
    app.add_exception_handler(ServiceError, on_service_error)
    app.add_exception_handler(HTTPException, on_http)
    app.add_exception_handler(RequestValidationError, on_invalid)
    app.add_exception_handler(OSError, on_trouble)
    app.add_exception_handler(SQLAlchemyError, on_trouble)
    app.add_exception_handler(Exception, on_trouble)


def responses(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """The problems that a route may answer, for its OpenAPI description.

    They name their shape, which ``described`` adds once: as models each would be worked out for each route, which is
    more than half of what building all routes takes.
    """
    content = {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}}
    return {s: {"description": HTTPStatus(s).phrase, "content": content} for s in statuses}


def described(openapi: dict[str, Any]) -> dict[str, Any]:
    """The description with the shape of problems among its own."""
    openapi.setdefault("components", {}).setdefault("schemas", {})["Problem"] = Problem.model_json_schema()
    return openapi
