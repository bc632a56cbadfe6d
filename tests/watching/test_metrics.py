"""The figures at /metrics: the open text format, named by its conventions, for the bench computer or a token alone."""

from dataclasses import replace

import pytest
from fastapi.testclient import TestClient
from prometheus_client.openmetrics.parser import text_string_to_metric_families as openmetrics
from prometheus_client.parser import text_string_to_metric_families as plain

from service.web.app import create_app
from tests.server.conftest import a_photo, settings_in


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """A service with --lan and a token, asked as the bench computer and as another one of the network."""
    settings = replace(
        settings_in(tmp_path_factory.mktemp("watched")),
        lan=True,
        metrics_token="long and random",
        names=("testserver",),
    )
    app = create_app(settings)
    with TestClient(app, client=("127.0.0.1", 5000)) as here:
        here.post("/api/batches", json={"name": "b"})
        for orders in ("ph=6.50", "ph=7.00", "refuse"):
            here.post("/api/batches/1/readings", files={"photo": ("a.jpg", a_photo(orders))})
        for number in (1, 2, 77):
            here.get(f"/api/readings/{number}")
        here.get("/no/such/place")
        yield here, TestClient(app, client=("192.168.1.7", 5000))


def _samples(answer):
    return {(s.name, *sorted(s.labels.items())): s.value for family in plain(answer.text) for s in family.samples}


def test_they_count_what_was_done(bench):
    found = _samples(bench[0].get("/metrics"))
    assert found["stripread_readings_total", ("kind", "ph"), ("status", "ok")] == 2
    assert found["stripread_readings_total", ("kind", "ph"), ("status", "refused")] == 1
    assert found[("stripread_log_entries",)] == 3
    assert found[("stripread_log_up",)] == 1
    assert found[("stripread_photos_to_send",)] == found[("stripread_photos_being_read",)] == 0
    route = ("route", "/api/readings/{entry}")
    get = ("method", "GET")
    assert found["stripread_http_requests_total", get, route, ("status", "200")] == 2
    assert found["stripread_http_requests_total", get, route, ("status", "404")] == 1
    assert found["stripread_http_requests_total", get, ("route", "none"), ("status", "404")] == 1
    posts = (("method", "POST"), ("route", "/api/batches/{batch}/readings"))
    assert found["stripread_http_request_duration_seconds_count", *posts] == 3
    assert found["stripread_reading_duration_seconds_count", ("kind", "ph")] == 3
    assert found[("process_resident_memory_bytes",)] > 1e6


def test_names_go_by_the_conventions(bench):
    """Prometheus' documentation, "Metric and label naming" and "Writing exporters": base units, _total for counters."""
    answer = bench[0].get("/metrics", headers={"Accept": "application/openmetrics-text; version=1.0.0"})
    assert answer.headers["content-type"].startswith("application/openmetrics-text")
    families = list(openmetrics(answer.text))  # a strict reader: it raises on what the format does not allow
    own = [family for family in families if family.name.startswith("stripread_")]
    assert len(own) >= 8
    for family in own:
        assert family.documentation.endswith(".")
        assert not family.name.endswith(("_ms", "_milliseconds", "_minutes", "_kb"))
        assert ("seconds" in family.name) == (family.type == "histogram")
        for sample in family.samples:
            if family.type == "counter":
                assert sample.name.endswith(("_total", "_created"))
            assert set(sample.labels) <= {"method", "route", "status", "kind", "le", "version"}


def test_others_need_the_token(bench):
    here, other = bench
    assert other.get("/metrics").status_code == 401
    assert other.get("/metrics", headers={"Authorization": "Bearer wrong"}).status_code == 401
    assert other.get("/metrics", headers={"Authorization": "Bearer "}).status_code == 401
    assert other.get("/metrics", headers={"Authorization": "Bearer long and random"}).status_code == 200
    # A paired phone is no watcher, and the token opens nothing else.
    joined = other.post("/api/join", json={"token": here.app.state.service.pairing._token})
    assert joined.status_code == 204
    assert other.get("/api/batches").status_code == 200
    assert other.get("/metrics").status_code == 401
    stranger = TestClient(here.app, client=("192.168.1.8", 5000))
    assert stranger.get("/api/batches", headers={"Authorization": "Bearer long and random"}).status_code == 401


def test_without_a_token_nobody_else_is_let_in(bench, monkeypatch):
    here, other = bench
    service = here.app.state.service
    here.app.state.service = replace(service, settings=replace(service.settings, metrics_token=None))
    try:
        for said in ("Bearer None", "Bearer ", "Bearer"):
            assert other.get("/metrics", headers={"Authorization": said}).status_code == 401
        assert here.get("/metrics").status_code == 200
    finally:
        here.app.state.service = service


def test_a_log_that_can_not_be_asked_is_alive_and_not_ready(bench, monkeypatch):
    from sqlalchemy.exc import OperationalError

    here, _ = bench
    stranger = TestClient(here.app, client=("192.168.1.9", 5000))
    assert here.get("/readyz").json() == {"status": "ok", "being_read": 0, "to_send": 0}
    assert stranger.get("/livez").json() == stranger.get("/readyz").json() == {"status": "ok"}
    database = here.app.state.service.database

    def broken(*_args):
        raise OperationalError("", {}, Exception("database is locked"))

    monkeypatch.setattr(database, "read", broken)
    assert [here.get(path).status_code for path in ("/livez", "/readyz", "/healthz", "/metrics")] == [
        200,
        503,
        503,
        200,
    ]
    found = _samples(here.get("/metrics"))
    assert found[("stripread_log_up",)] == 0
    assert ("stripread_log_entries",) not in found


def test_a_service_that_stops_is_alive_and_not_ready(bench, monkeypatch):
    here, _other = bench
    stopping = here.app.state.service.stopping
    stopping.begun = True
    try:
        assert [here.get(path).status_code for path in ("/livez", "/readyz", "/healthz")] == [200, 503, 503]
    finally:
        stopping.begun = False
