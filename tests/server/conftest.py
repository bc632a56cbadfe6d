"""A service in this process, with a made-up reader, on SQLite or on a real PostgreSQL."""

import io
import itertools

import pytest
from fastapi.testclient import TestClient
from PIL import Image

from service.settings import Settings
from service.web.app import create_app
from tests.server.fake_reader import FakeReader
from tests.server.postgres import a_server

_count = itertools.count(1)


def a_photo(orders="ph=7.00", *, size=(240, 180), fmt="JPEG", **save) -> bytes:
    """A small picture that is like no other, with orders for the made-up reader at its end."""
    image = Image.new("RGB", size, (next(_count) % 256, 120, 90))
    out = io.BytesIO()
    image.save(out, fmt, **save)
    return out.getvalue() + f"#{next(_count)} FAKE:{orders};".encode()


def settings_in(folder, **more) -> Settings:
    """Settings of a service with the made-up reader, all its files in ``folder``."""
    profile = folder / "profile.toml"
    profile.write_text('name = "fake"\n', encoding="utf-8")
    known = {"data": folder / "data", "profiles": (profile,), "reader": FakeReader, "workers": 1, "reading_timeout": 60}
    known["posts_per_minute"] = 100_000  # tests on a quick machine post more than a hand does
    known["demo_beside"] = False  # no test starts a further process unasked
    known["names"] = ("testserver",)  # what the test client calls every service
    return Settings(**{**known, **more})


@pytest.fixture(scope="session")
def data(tmp_path_factory):
    """The data folder of the service that most tests share."""
    return tmp_path_factory.mktemp("service")


@pytest.fixture(scope="session")
def client(data):
    with TestClient(create_app(settings_in(data.parent, data=data))) as c:
        yield c


@pytest.fixture
def settings(tmp_path):
    return settings_in(tmp_path)


@pytest.fixture
def profile(settings):
    return settings.profiles[0]


@pytest.fixture
def own_client(settings):
    """A service for one test alone."""
    with TestClient(create_app(settings)) as c:
        yield c


@pytest.fixture
def batch(client):
    return client.post("/api/batches", json={"name": "Chloride of 12 May"}).json()["id"]


@pytest.fixture
def send(client, batch):
    """Post a photo; returns the response."""

    def sending(photo=None, key=None, name="snap.jpg", to=None, **form):
        headers = {"Idempotency-Key": key} if key else {}
        files = {"photo": (name, photo if photo is not None else a_photo(), "image/jpeg")}
        return client.post(f"/api/batches/{to or batch}/readings", files=files, data=form, headers=headers)

    return sending


@pytest.fixture(scope="session")
def postgres():
    """The URL of a PostgreSQL server that was started for this run."""
    with a_server() as url:
        yield url
