"""The minute of "sent again" goes by entry numbers and a steady clock: setting the time of day moves it nowhere."""

import pytest
from fastapi.testclient import TestClient

from service.log import models
from service.readers.same_photo import BEFORE_THE_START, RecentEntries
from service.web.app import create_app
from tests.server.conftest import a_photo, settings_in


class Clock:
    now = 1000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def bench(own_client, clock):
    """A service for one test whose minute goes by ``clock``."""
    own_client.app.state.service.intake._recent = RecentEntries(60.0, 0, clock)
    own_client.post("/api/batches", json={"name": "b"})
    return own_client


def _send(client, photo):
    answer = client.post("/api/batches/1/readings", files={"photo": ("a.jpg", photo)})
    assert answer.status_code == 200
    return answer.json()["log"]["id"]


@pytest.mark.parametrize("wall", ["1999-01-01T00:00:00", "2199-01-01T00:00:00"])
def test_a_clock_set_after_the_first_post_neither_empties_nor_stretches_the_minute(bench, clock, wall, monkeypatch):
    photo = a_photo()
    monkeypatch.setattr(models, "now", lambda: f"{wall}.000000+00:00")
    monkeypatch.setattr("service.log.store.now", lambda: f"{wall}.000000+00:00")  # the entry's time, as set then
    first = _send(bench, photo)
    monkeypatch.undo()  # and put right since
    assert bench.get(f"/api/readings/{first}").json()["log"]["received_at"].startswith(wall[:4])
    clock.now += 59
    assert _send(bench, photo) == first
    clock.now += 2
    assert _send(bench, photo) != first


def test_the_minute_begins_with_the_entry_not_with_the_next_look(bench, clock):
    photo = a_photo()
    first = _send(bench, photo)
    clock.now += 3600  # nobody asked meanwhile
    assert _send(bench, photo) != first


def test_a_restart_within_the_minute_still_answers_with_the_first(tmp_path):
    settings, photo = settings_in(tmp_path), a_photo()
    with TestClient(create_app(settings)) as client:
        client.post("/api/batches", json={"name": "b"})
        first = _send(client, photo)
    with TestClient(create_app(settings)) as client:
        assert _send(client, photo) == first
        service = client.app.state.service
        service.intake._recent._seconds = 0.0  # a minute after the start
        assert _send(client, photo) != first


def test_numbers(clock):
    recent = RecentEntries(60.0, 500, clock)
    assert recent.above(500) == 500 - BEFORE_THE_START
    clock.now += 30
    assert recent.above(510) == 500 - BEFORE_THE_START
    clock.now += 30
    assert recent.above(510) == 500
    clock.now += 30
    assert recent.above(510) == 510
    clock.now += 1e6
    assert recent.above(511) == 510  # another process added it, unseen until now
    clock.now += 60
    assert recent.above(511) == 511
