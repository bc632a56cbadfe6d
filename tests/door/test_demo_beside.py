"""The demo beside the log: another process, folder and port; nothing of it in the log; gone with the service."""

import time
from dataclasses import replace
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from service.demo import play as played
from service.demo.play import play_whole
from service.web.app import create_app
from service.web.door.demo_beside import DemoBeside
from stripread.errors import CallError
from tests.door.conftest import fetch
from tests.server.conftest import settings_in


def test_no_service_starts_one_where_it_may_not(client):
    answer = client.post("/api/demo")
    assert (answer.status_code, answer.json()["code"]) == (409, "no_demo")
    assert client.get("/api/demo").json() == {"state": "off", "url": None}


def test_only_the_bench_computer_starts_one(tmp_path):
    app = create_app(replace(settings_in(tmp_path, demo_beside=True), lan=True, names=("bench.local",)))
    with TestClient(app, base_url="http://bench.local", client=("192.168.7.20", 1)) as phone:
        assert phone.post("/api/demo").status_code == 401
        phone.post("/api/join", json={"token": app.state.service.pairing.link().partition("#join=")[2]})
        for ask in (phone.get, phone.post):
            assert (ask("/api/demo").status_code, ask("/api/demo").json()["code"]) == (403, "only_here")


def test_the_page_is_told_which_log_it_shows(tmp_path, client):
    assert client.get("/api/about").json()["demo"] is False
    with TestClient(create_app(settings_in(tmp_path, demo=True))) as c:
        assert c.get("/api/about").json()["demo"] is True


def a_batch(folder: Path) -> int:
    (folder / "log.sqlite3").write_bytes(b"")
    return 1


def test_the_demo_is_played_whole_or_not_at_all(tmp_path, monkeypatch):
    def broken(folder):
        a_batch(folder)
        raise KeyboardInterrupt

    monkeypatch.setattr(played, "play", broken)
    with pytest.raises(KeyboardInterrupt):
        play_whole(tmp_path / "demo")
    assert list(tmp_path.iterdir()) == []
    monkeypatch.setattr(played, "play", a_batch)
    play_whole(tmp_path / "demo")
    assert [p.name for p in tmp_path.iterdir()] == ["demo"]
    monkeypatch.setattr(played, "play", broken)
    play_whole(tmp_path / "demo")  # it is there: nothing is played again


def test_the_demo_is_not_played_into_a_log(tmp_path, monkeypatch):
    monkeypatch.setattr(played, "play", a_batch)
    a_batch(tmp_path)
    with pytest.raises(CallError, match="no folder of the demo"):
        play_whole(tmp_path)


@pytest.mark.slow
def test_it_runs_beside_the_log_and_ends_with_it(tmp_path):
    """The real thing: the real reader reads the demo's photos."""
    with TestClient(create_app(settings_in(tmp_path, demo_beside=True, port=18700))) as c:
        c.post("/api/batches", json={"name": "mine"})
        assert c.post("/api/demo").json()["state"] in ("starting", "ready")
        deadline = time.monotonic() + 240
        while (now := c.get("/api/demo").json())["state"] == "starting" and time.monotonic() < deadline:
            time.sleep(0.5)
        assert now["state"] == "ready", now
        assert c.post("/api/demo").json() == now  # not a second one
        shown = fetch(f"{now['url']}api/batches").read().decode()
        assert "Made-up batch" in shown
        assert "mine" not in shown
        assert [b["name"] for b in c.get("/api/batches").json()] == ["mine"]
        process = c.app.state.service.demo._process
    assert process.poll() is not None
    with pytest.raises(OSError, match="refused"):
        fetch(now["url"])


@pytest.mark.slow
def test_it_ends_with_its_input_whichever_way_the_service_ends(tmp_path, monkeypatch):
    monkeypatch.setattr(played, "play", a_batch)
    beside = DemoBeside(settings_in(tmp_path, port=18740))
    (tmp_path / "data" / "demo").mkdir(parents=True)
    (tmp_path / "data" / "demo" / "made-up").touch()
    beside.start()
    deadline = time.monotonic() + 60
    while beside.state().state == "starting" and time.monotonic() < deadline:
        time.sleep(0.2)
    assert beside.state().state == "ready"
    beside._process.stdin.close()  # what the system does for a process that was killed
    assert beside._process.wait(30) == 0
