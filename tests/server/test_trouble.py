"""Killed processes, full disks, locked databases: the client hears of it, and the log stays whole. All for real."""

import hashlib
import os
import socket
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from service.cli import main
from service.log.check import check_log
from service.log.database import Database
from service.web.app import create_app
from stripread.errors import CallError
from tests.server.calls import HTTP
from tests.server.conftest import a_photo, settings_in
from tests.server.kills import faults, kill_again_and_again
from tests.server.nursery import ROOT
from tests.server.running import Running


@pytest.mark.slow
def test_kills_lose_and_double_nothing(tmp_path):
    outcome = kill_again_and_again(tmp_path, kills=3)
    assert faults(outcome) == []
    assert len(outcome.told.answers) >= 4


@pytest.mark.slow
def test_workers_end_with_a_killed_service(tmp_path):
    server = Running(tmp_path).start()
    batch = _start(server)
    _post(server, batch, a_photo())
    family = _children(server.process.pid)
    assert family
    server.kill()
    deadline = time.monotonic() + 5
    while any(_alive(pid) for pid in family) and time.monotonic() < deadline:
        time.sleep(0.1)
    assert not [pid for pid in family if _alive(pid)]


@pytest.mark.slow
def test_a_full_disk_is_said_and_nothing_is_torn(tmp_path):
    small = tmp_path / "small"
    small.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(small)]
    done = subprocess.run(mount, capture_output=True, check=False)
    if done.returncode != 0:
        pytest.skip("needs the right to mount a small file system")
    try:
        with Running(tmp_path, data=small) as server:
            batch = _start(server)
            stored = 0
            for n in range(12):
                answer = _post(server, batch, a_photo() + os.urandom(150_000), key=f"k{n}")
                if answer.status_code != 200:
                    break
                stored += 1
            assert (answer.status_code, answer.json()["code"]) == (507, "disk_full")
            assert answer.headers["content-type"] == "application/problem+json"
            assert 0 < stored < 12
            assert HTTP.get(f"{server.url}/api/batches/{batch}/readings").json()[-1]["log"]["id"] == stored
        found = _check(small)
        assert (found.faults, found.entries) == ((), stored)
    finally:
        subprocess.run(["umount", str(small)], check=True)


@pytest.mark.slow
def test_a_locked_database_is_said_and_the_same_post_works_later(tmp_path):
    with Running(tmp_path) as server:
        batch = _start(server)
        photo = a_photo()
        other = sqlite3.connect(tmp_path / "data" / "log.sqlite3", isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        answer = _post(server, batch, photo, key="k")
        assert (answer.status_code, answer.json()["code"]) == (503, "database_busy")
        assert int(answer.headers["retry-after"]) > 0
        other.execute("ROLLBACK")
        other.close()
        assert _post(server, batch, photo, key="k").status_code == 200
    assert _check(tmp_path / "data").entries == 1


FAULTS = [
    ("hang", 503, "too_busy"),  # it used no processor time: whatever it waited for, the photo can't be blamed
    ("spin", 422, "too_long"),
    ("die", 422, "reader_stopped"),
    ("break", 422, "reader_failed"),
]


@pytest.mark.parametrize(("orders", "status", "code"), FAULTS)
def test_a_photo_that_hangs_or_kills_its_reader_harms_no_other(orders, status, code, own_client, monkeypatch):
    own_client.app.state.service.readers._timeout = 40.0 if orders == "spin" else 1.0
    if orders == "spin":  # a small budget and a wide clock: other work on this machine must not decide who is blamed
        monkeypatch.setattr("service.readers.pool.OWN_SHARE", 0.025)
    batch = own_client.post("/api/batches", json={"name": "b"}).json()["id"]
    bad = own_client.post(f"/api/batches/{batch}/readings", files={"photo": ("a.jpg", a_photo(orders))})
    assert (bad.status_code, bad.json()["code"]) == (status, code)
    assert ("retry-after" in bad.headers) == (status == 503)
    good = own_client.post(f"/api/batches/{batch}/readings", files={"photo": ("a.jpg", a_photo())})
    assert good.status_code == 200


def test_too_many_waiting_is_an_honest_503(own_client):
    pool = own_client.app.state.service.readers
    batch = own_client.post("/api/batches", json={"name": "b"}).json()["id"]
    pool._taken = pool._places
    answer = own_client.post(f"/api/batches/{batch}/readings", files={"photo": ("a.jpg", a_photo())})
    assert (answer.status_code, answer.headers["retry-after"]) == (503, "2")
    pool._taken = 0


def test_drawings_take_no_places_from_photos(own_client):
    service = own_client.app.state.service
    batch = own_client.post("/api/batches", json={"name": "b"}).json()["id"]
    first = own_client.post(f"/api/batches/{batch}/readings", files={"photo": ("a.jpg", a_photo())}).json()
    service.drawings._taken = service.drawings._places  # as with forty overlays asked for at once
    overlay = own_client.get(f"/api/readings/{first['log']['id']}/overlay")
    assert (overlay.status_code, overlay.headers["retry-after"]) == (503, "2")
    other = own_client.post(f"/api/batches/{batch}/readings", files={"photo": ("b.jpg", a_photo())})
    assert other.status_code == 200
    service.drawings._taken = 0
    service.readers._taken = service.readers._places  # and photos take none from drawings
    assert own_client.get(f"/api/readings/{first['log']['id']}/overlay").status_code == 200
    service.readers._taken = 0


def test_too_many_bodies_at_once_are_turned_away_before_they_are_read(tmp_path):
    with TestClient(create_app(settings_in(tmp_path, coming_in=0))) as client:
        answer = client.post("/api/batches", json={"name": "b"})
        assert (answer.status_code, answer.json()["code"], answer.headers["retry-after"]) == (503, "busy", "2")
        assert client.get("/api/batches").status_code == 200


def test_a_second_service_does_not_take_the_same_folder(own_client, settings):
    with pytest.raises(CallError, match="another stripread"):
        create_app(settings)
    assert own_client.get("/healthz").status_code == 200


def test_log_check_finds_what_is_wrong(own_client, settings):
    batch = own_client.post("/api/batches", json={"name": "b"}).json()["id"]
    ids = [
        own_client.post(f"/api/batches/{batch}/readings", files={"photo": ("a.jpg", a_photo())}).json()["sha256"]
        for _ in range(3)
    ]
    blobs = own_client.app.state.service.blobs
    assert _check(settings.data).whole
    blobs.path(ids[0]).write_bytes(b"changed")
    blobs.path(ids[1]).unlink()
    orphan = hashlib.sha256(b"x").hexdigest()  # a whole photo; anything else would be a stray file
    blobs.path(orphan).parent.mkdir(exist_ok=True)
    blobs.path(orphan).write_bytes(b"x")
    (blobs.incoming / "half").write_bytes(b"y")
    found = _check(settings.data)
    assert sorted(found.faults) == sorted([f"photo {ids[0]} is not what it was", f"photo {ids[1]} is missing"])
    assert found.orphans == (orphan,)
    assert found.unfinished == ("half",)
    said = subprocess.run(
        [sys.executable, "-m", "service.cli", "log", "check", "--data", str(settings.data)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert said.returncode == 1
    assert "NOT WHOLE" in said.stdout
    assert f"orphan: photo {orphan}" in said.stdout


def test_a_watched_folder_is_read_once_into_the_open_batch(tmp_path):
    folder = tmp_path / "synced"
    folder.mkdir()
    (folder / "one.jpg").write_bytes(a_photo("ph=5.00"))
    (folder / "notes.txt").write_text("no photo")
    watching = settings_in(tmp_path, watch=folder, watch_every=0.1)
    for _ in range(2):  # again after a restart: nothing is read twice
        with TestClient(create_app(watching)) as client:
            batches = client.get("/api/batches").json()
            batch = batches[0]["id"] if batches else client.post("/api/batches", json={"name": "b"}).json()["id"]
            entries = _until(client, batch, 1)
            assert [(e["ph"], e["log"]["origin"], e["photo"]) for e in entries] == [(5.0, "watch", "one.jpg")]
            time.sleep(0.5)
            assert len(_until(client, batch, 1)) == 1


def _until(client, batch, count):
    deadline = time.monotonic() + 10
    while True:
        entries = client.get(f"/api/batches/{batch}/readings").json()
        if len(entries) >= count or time.monotonic() > deadline:
            return entries
        time.sleep(0.1)


def _start(server) -> int:
    return HTTP.post(f"{server.url}/api/batches", json={"name": "b"}).json()["id"]


def _post(server, batch, photo, key=None):
    headers = {"Idempotency-Key": key} if key else {}
    url = f"{server.url}/api/batches/{batch}/readings"
    return HTTP.post(url, files={"photo": ("a.jpg", photo)}, headers=headers, timeout=30)


def _check(data: Path):
    database = Database(f"sqlite:///{data / 'log.sqlite3'}")
    try:
        return check_log(database, data)
    finally:
        database.close()


def _children(pid: int) -> list[int]:
    found = subprocess.run(["ps", "-o", "pid=", "--ppid", str(pid)], capture_output=True, text=True, check=False)
    return [int(p) for p in found.stdout.split()]


def _alive(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except (FileNotFoundError, ProcessLookupError):
        return False


@pytest.mark.slow
def test_a_taken_port_is_a_wrong_call_said_in_one_line(tmp_path):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        command = [sys.executable, "-m", "service.cli", "serve", "--port", port, "--data", str(tmp_path / "data")]
        said = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False, timeout=60)
    assert said.returncode == 2
    assert said.stderr.count("\n") == 1
    assert "can't listen" in said.stderr


@pytest.mark.parametrize("args", [("log", "check"), ("reread", "1")])
def test_looking_for_a_log_where_none_is_makes_none(tmp_path, capsys, args):
    with pytest.raises(SystemExit) as stop:
        main([*args, "--data", str(tmp_path)])
    said = capsys.readouterr().err
    assert (stop.value.code, said.count("\n")) == (2, 1)
    assert "there is no log in" in said
    assert list(tmp_path.iterdir()) == []
