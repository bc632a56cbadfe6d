"""Each kind of error of the bench computer as HTTP says it: a class without a row fails."""

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from service import errors
from service.web.problems import STATUS, add_handlers

ROWS = {
    errors.NotFound: 404,
    errors.Conflict: 409,
    errors.WrongStatement: 422,
    errors.PhotoProblem: 422,
    errors.BenchBusy: 503,
    errors.DiskFull: 507,
}


def test_every_class_has_a_status():
    assert set(errors.ServiceError.__subclasses__()) == set(ROWS) == set(STATUS)


@pytest.mark.parametrize(("kind", "status"), ROWS.items(), ids=lambda value: getattr(value, "__name__", str(value)))
def test_the_answer(kind, status):
    app = FastAPI()
    add_handlers(app)

    @app.get("/")
    def fails():
        raise kind("a_code", "What happened, and what to do.", 7)

    answer = TestClient(app).get("/")
    assert answer.status_code == status
    assert answer.headers["retry-after"] == "7"
    assert answer.headers["content-type"] == "application/problem+json"
    told = answer.json()
    assert (told["code"], told["detail"], told["status"]) == ("a_code", "What happened, and what to do.", status)
