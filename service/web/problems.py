"""Errors of the HTTP service as problem details (RFC 9457): one shape, with a sentence that says what to do."""

from __future__ import annotations

import errno
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from pydantic import BaseModel, Field
from sqlalchemy.exc import OperationalError, SQLAlchemyError
from starlette.exceptions import HTTPException

from service.bench.quantities import WrongQuantity
from service.errors import BenchBusy, Conflict, NotFound, PhotoProblem, ServiceError, WrongStatement

MEDIA_TYPE = "application/problem+json"
# Out of space or of quota: the same to the client. EFBIG is what a file size limit gives.
_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}


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
}


def full_disk() -> ServiceProblem:
    """The log can't take more: said to the client, who keeps the photo."""
    return ServiceProblem(
        507, "disk_full", "The disk of the log is full. Nothing was stored. Free some space and send it again.", 60
    )


def busy_database() -> ServiceProblem:
    """Another process holds the database."""
    return ServiceProblem(
        503, "database_busy", "The log's database can't be written now. Nothing was stored. Send it again.", 2
    )


def of_error(error: BaseException) -> ServiceProblem | None:
    """The problem that an error of the disk or of the database amounts to, or None if it is neither."""
    seen: BaseException | None = error
    while seen is not None:
        if isinstance(seen, OSError) and seen.errno in _FULL:
            return full_disk()
        if isinstance(seen, OperationalError):
            said = str(seen.orig).lower()
            full = any(words in said for words in ("is full", "disk i/o", "no space"))
            return full_disk() if full else busy_database()
        seen = seen.__cause__
    if isinstance(error, SQLAlchemyError):
        return busy_database()
    return None


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
}
_DETAILS = {
    404: "There is nothing at this address.",
    405: "This address does not take that method.",
    413: "The body is larger than this service takes. Send a smaller photo.",
}


def add_handlers(app: FastAPI) -> None:
    """Answer every error of ``app`` as a problem."""

    async def on_problem(_: Request, error: Exception) -> JSONResponse:
        assert isinstance(error, ServiceProblem)
        return answer(error.status, error.code, error.detail, retry_after=error.retry_after, choices=error.choices)

    async def on_service_error(_: Request, error: Exception) -> JSONResponse:
        assert isinstance(error, ServiceError)
        return answer(STATUS[type(error)], error.code, error.detail, retry_after=error.retry_after)

    async def on_http(_: Request, error: Exception) -> JSONResponse:
        assert isinstance(error, HTTPException)
        # The form parser hides a full disk behind a 400; look at what it came from.
        known = of_error(error)
        if known is not None:
            return answer(known.status, known.code, known.detail, retry_after=known.retry_after)
        detail = _DETAILS.get(error.status_code, str(error.detail))
        response = answer(error.status_code, _CODES.get(error.status_code, "refused"), detail)
        for name, value in (error.headers or {}).items():
            response.headers[name] = value
        return response

    async def on_invalid(_: Request, error: Exception) -> JSONResponse:
        assert isinstance(error, RequestValidationError)
        typed = [(e["loc"][-1], e.get("ctx", {}).get("error")) for e in error.errors()]
        for where, wrong in typed:
            if isinstance(wrong, WrongQuantity):
                asked = wrong.at(str(where))
                return answer(422, asked.code, str(asked), choices=asked.choices)
        errors = [{"where": ".".join(str(p) for p in e["loc"]), "what": e["msg"]} for e in error.errors()]
        said = "; ".join(f"{e['where']}: {e['what']}" for e in errors[:5])
        return answer(422, "invalid_request", f"The request does not fit: {said}", errors=errors)

    async def on_trouble(_: Request, error: Exception) -> JSONResponse:
        known = of_error(error)
        if known is not None:
            return answer(known.status, known.code, known.detail, retry_after=known.retry_after)
        return answer(
            500,
            "internal",
            "Something went wrong here. Nothing was stored by this request. Send it again.",
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
    """The problems that a route may answer, for its OpenAPI description."""
    return {s: {"model": Problem, "description": HTTPStatus(s).phrase, "content": {MEDIA_TYPE: {}}} for s in statuses}
