"""The API against its own description: every answer that comes is one that /openapi.json tells of."""

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from service.web.problems import MEDIA_TYPE
from tests.server.conftest import a_photo

CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
]

FEW = settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck), database=None, derandomize=True)


@pytest.fixture(scope="session")
def api(client):
    """The description, with two batches and a few entries to find."""
    for name in ("one", "two"):
        batch = client.post("/api/batches", json={"name": name}).json()["id"]
        for kind in ("ph", "tint", "solid"):
            client.post(f"/api/batches/{batch}/readings", files={"photo": ("a.jpg", a_photo())}, data={"kind": kind})
    return schemathesis.openapi.from_asgi("/openapi.json", client.app)


@pytest.mark.slow
def test_answers_are_those_described(api, client):
    tried = 0
    for found in api.get_all_operations():
        operation = found.ok()

        @settings(
            max_examples=5, deadline=None, suppress_health_check=list(HealthCheck), database=None, derandomize=True
        )
        @given(case=operation.as_strategy())
        def check(case):
            # the names of the host and of the site are tested elsewhere; wrong ones would end every call here
            case.headers = {k: v for k, v in (case.headers or {}).items() if k.lower() not in ("host", "origin")}
            case.validate_response(case.call(session=client), checks=CHECKS)

        check()
        tried += 1
    assert tried >= 18


def test_the_description_has_examples_and_problems(client):
    told = client.get("/openapi.json").json()
    post = told["paths"]["/api/batches/{batch}/readings"]["post"]
    assert {"200", "404", "409", "413", "422", "503", "507"} <= set(post["responses"])
    assert MEDIA_TYPE in post["responses"]["507"]["content"]
    assert told["components"]["schemas"]["NewBatch"]["examples"]
    assert told["components"]["schemas"]["Correction"]["examples"]


def test_wrong_calls_are_problem_details(client, batch):
    cases = [
        (client.get("/api/batches/999999"), 404, "no_such_batch"),
        (client.get("/api/readings/999999"), 404, "no_such_reading"),
        (client.get("/api/batches/x"), 422, "invalid_request"),
        (client.post("/api/batches", json={}), 422, "invalid_request"),
        (client.delete(f"/api/batches/{batch}"), 405, "wrong_method"),
        (client.get("/nowhere"), 404, "no_such_thing"),
        (client.post(f"/api/batches/{batch}/readings", data={"kind": "ph"}), 422, "invalid_request"),
    ]
    for answer, status, code in cases:
        assert answer.status_code == status
        assert answer.headers["content-type"] == MEDIA_TYPE
        told = answer.json()
        assert (told["status"], told["code"]) == (status, code)
        assert told["title"]
        assert told["detail"].endswith(".") or code == "invalid_request"
