"""The service with the package's own reader in its worker: every kind, its picture, and the same JSON as without it."""

import io
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from PIL import Image

from service.web.app import create_app
from stripread.ph.profile import load_profile
from stripread.ph.read import read_ph
from tests.server.conftest import settings_in
from tests.server.test_hostile import BOMBS

DEMO = Path(__file__).resolve().parents[2] / "service" / "demo"
PHOTO = DEMO / "photos" / "05-wash-04.jpg"


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    folder = tmp_path_factory.mktemp("real")
    settings = settings_in(folder, reader=None, reading_timeout=60)
    shutil.copy(DEMO / "profile.toml", settings.profiles[0])
    with TestClient(create_app(settings)) as c:
        c.post("/api/batches", json={"name": "real"})
        yield c, settings


@pytest.mark.parametrize("kind", ["ph", "tint", "solid", "cells"])
def test_every_kind_is_read_and_drawn(served, kind):
    client, settings = served
    sent = client.post(
        "/api/batches/1/readings",
        files={"photo": (PHOTO.name, PHOTO.read_bytes())},
        data={"kind": kind, "path_mm": "20", "ammonia_excess": "yes"},
    )
    assert sent.status_code == 200, sent.text
    reading = sent.json()
    assert reading["kind"] == kind
    if kind == "ph":
        alone = read_ph(PHOTO.read_bytes(), load_profile(settings.profiles[0]), PHOTO.name).to_dict()
        differing = {k for k in alone if alone[k] != reading[k]}
        assert differing <= {"seconds"}
        assert len(reading["log"]["colours"]) == len(reading["pads"]) > 0
        assert all(c["curve"] for c in reading["log"]["colours"]) == (reading["ph"] is not None)
    drawn = client.get(f"/api/readings/{reading['log']['id']}/overlay")
    assert drawn.headers["content-type"] == "image/png"
    assert min(Image.open(io.BytesIO(drawn.content)).size) > 300


def test_what_is_no_picture_is_logged_as_refused_and_not_drawn(served):
    client, _ = served
    reading = client.post("/api/batches/1/readings", files={"photo": ("a.jpg", b"no picture at all")}).json()
    assert (reading["status"], reading["reasons"][0]["code"]) == ("refused", "not_a_picture")
    assert client.get(f"/api/readings/{reading['log']['id']}/overlay").json()["code"] == "not_a_picture"


@pytest.mark.parametrize("name", BOMBS)
def test_bombs_and_disguises_are_refused_in_time(served, name):
    client, _ = served
    started = time.monotonic()
    sent = client.post("/api/batches/1/readings", files={"photo": ("a.jpg", BOMBS[name])})
    assert (sent.status_code, sent.json()["status"]) == (200, "refused")
    assert time.monotonic() - started < 10


def test_a_broken_profile_is_said(served):
    client, settings = served
    good = settings.profiles[0].read_text(encoding="utf-8")
    try:
        settings.profiles[0].write_text("name = 3", encoding="utf-8")
        answer = client.post("/api/batches/1/readings", files={"photo": ("a.jpg", b"another")})
        assert (answer.status_code, answer.json()["code"]) == (409, "no_profile")
    finally:
        settings.profiles[0].write_text(good, encoding="utf-8")


@pytest.mark.slow
def test_a_batch_is_read_again_from_the_command_line(tmp_path):
    settings = settings_in(tmp_path, reader=None, reading_timeout=60)
    shutil.copy(DEMO / "profile.toml", settings.profiles[0])
    command = [sys.executable, "-m", "service.cli", "reread", "1", "--data", str(settings.data)]
    with TestClient(create_app(settings)) as c:
        c.post("/api/batches", json={"name": "real"})
        c.post("/api/batches/1/readings", files={"photo": (PHOTO.name, PHOTO.read_bytes())})
        busy = subprocess.run(command, cwd=DEMO.parents[1], capture_output=True, text=True, check=False)
    assert (busy.returncode, busy.stderr.count("\n")) == (2, 1)
    assert "another stripread uses the folder" in busy.stderr
    again = subprocess.run(command, cwd=DEMO.parents[1], capture_output=True, text=True, check=False)
    assert again.returncode == 0, again.stderr
    assert "1 read again" in again.stdout
    assert "1 the same, 0 changed" in again.stdout
