"""A back-up of a running service: over HTTP on the bench computer alone, by the command line while phones post."""

import errno
import sqlite3
import threading
from dataclasses import replace

import httpx2 as httpx
import pytest
from click.testing import CliRunner
from fastapi.testclient import TestClient

from service.commands.log import command
from service.log.archive.restore import restore
from service.log.database import Database
from service.log.store import entries_of
from service.web.app import create_app
from tests.server.calls import HTTP
from tests.server.conftest import a_photo, settings_in
from tests.server.kills import Told, phone
from tests.server.running import Running


def _post(client, batch=1):
    return client.post(f"/api/batches/{batch}/readings", files={"photo": ("a.jpg", a_photo())}).json()["log"]["id"]


@pytest.fixture
def two_readings(own_client):
    own_client.post("/api/batches", json={"name": "b"})
    return [_post(own_client), _post(own_client)]


def test_the_download_is_restored_whole(own_client, two_readings, tmp_path):
    answer = own_client.get("/api/backup")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/x-tar"
    assert answer.headers["content-disposition"].startswith('attachment; filename="stripread-')
    assert int(answer.headers["content-length"]) == len(answer.content)
    assert answer.headers["cache-control"] == "no-store"
    (tmp_path / "b.tar").write_bytes(answer.content)
    done = restore(tmp_path / "b.tar", tmp_path / "to")
    assert (done.check.whole, done.check.entries, done.manifest.counts["photos"]) == (True, len(two_readings), 2)
    assert list((tmp_path / "data" / "photos" / "incoming").iterdir()) == []
    assert own_client.get("/api/backup").status_code == 200  # the next one may come


def test_it_is_not_made_smaller_so_that_its_length_stands(own_client):
    answer = own_client.get("/api/backup", headers={"Accept-Encoding": "gzip"})
    assert answer.headers["content-encoding"] == "identity"
    assert int(answer.headers["content-length"]) == len(answer.content)


def test_a_paired_phone_does_not_get_it(tmp_path):
    app = create_app(replace(settings_in(tmp_path), lan=True, names=("bench.local",)))
    with TestClient(app, base_url="http://localhost", client=("127.0.0.1", 1)) as bench:
        phone = TestClient(app, base_url="http://bench.local", client=("192.168.7.20", 1))
        assert phone.get("/api/backup").json()["code"] == "not_paired"
        token = app.state.service.pairing.link().partition("#join=")[2]
        assert phone.post("/api/join", json={"token": token}).status_code == 204
        assert phone.get("/api/batches").status_code == 200
        answer = phone.get("/api/backup")
        assert (answer.status_code, answer.json()["code"]) == (403, "only_here")
        answer = bench.get("/api/backup")
        assert answer.status_code == 200
        assert b"python-httpx" not in answer.content  # how the phone called itself
        assert b"testclient" not in answer.content


@pytest.mark.parametrize("headers", [{"Sec-Fetch-Site": "cross-site"}, {"Origin": "https://elsewhere.example"}])
def test_another_site_can_not_make_the_browser_ask_for_it(own_client, headers):
    answer = own_client.get("/api/backup", headers=headers)
    assert (answer.status_code, answer.json()["code"]) == (403, "cross_site")
    assert own_client.get("/api/backup", headers={"Sec-Fetch-Site": "same-origin"}).status_code == 200


def test_one_at_a_time(own_client):
    lock = own_client.app.state.service.one_backup
    with lock:
        answer = own_client.get("/api/backup")
    assert (answer.status_code, answer.json()["code"]) == (503, "backing_up")
    assert int(answer.headers["retry-after"]) > 0


def test_a_log_that_is_not_whole_says_so_and_the_next_may_ask(own_client, two_readings, settings):
    photo = next(p for p in (settings.data / "photos").rglob("*") if p.is_file())
    with sqlite3.connect(settings.data / "log.sqlite3", isolation_level=None) as c:
        c.execute("DROP TRIGGER entries_no_update")
    for _ in range(2):
        answer = own_client.get("/api/backup")
        assert (answer.status_code, answer.json()["code"]) == (409, "log_not_whole")
        assert "stripread log check" in answer.json()["detail"]
    assert photo.is_file()
    assert list((settings.data / "photos" / "incoming").iterdir()) == []


def test_a_photo_that_is_gone_breaks_the_download_off(tmp_path):
    with Running(tmp_path) as server:
        HTTP.post(f"{server.url}/api/batches", json={"name": "b"})
        with httpx.Client(base_url=server.url, timeout=60) as client:
            for _ in range(2):
                _post(client)
        next(p for p in (tmp_path / "data" / "photos").rglob("*") if p.is_file()).unlink()
        for _ in range(2):  # and does not stand in the way of the next one
            with pytest.raises(httpx.RemoteProtocolError):
                HTTP.get(f"{server.url}/api/backup")


def test_a_download_that_is_broken_off_lets_the_next_one_begin(tmp_path):
    with Running(tmp_path) as server:
        HTTP.post(f"{server.url}/api/batches", json={"name": "b"})
        with httpx.Client(base_url=server.url, timeout=60) as client:
            for _ in range(3):
                files = {"photo": ("a.jpg", a_photo() + bytes(9_000_000))}
                assert client.post("/api/batches/1/readings", files=files).status_code == 200
        with httpx.stream("GET", f"{server.url}/api/backup") as answer:
            pieces = answer.iter_raw(1000)  # kept: let go of, it would end the connection
            next(pieces)
            busy = HTTP.get(f"{server.url}/api/backup")
            assert (busy.status_code, busy.json()["code"]) == (503, "backing_up")
        for _ in range(100):
            again = HTTP.get(f"{server.url}/api/backup")
            if again.status_code == 200:
                break
            threading.Event().wait(0.05)
        assert again.status_code == 200


@pytest.mark.parametrize(
    ("problem", "status", "code"),
    [
        (OSError(errno.ENOSPC, "x"), 507, "disk_full"),
        (OSError(errno.EROFS, "x"), 503, "not_writable"),
        (OSError(errno.EIO, "x"), 503, "disk_trouble"),
    ],
)
def test_a_disk_that_does_not_take_it(own_client, monkeypatch, problem, status, code):
    def broken(*_):
        raise problem

    monkeypatch.setattr("service.log.archive.backup.take_snapshot", broken)
    for _ in range(2):
        answer = own_client.get("/api/backup")
        assert (answer.status_code, answer.json()["code"]) == (status, code)


def test_another_database_names_its_own_program(tmp_path, postgres):
    with TestClient(create_app(settings_in(tmp_path, database=postgres))) as client:
        answer = client.get("/api/backup")
        assert (answer.status_code, answer.json()["code"]) == (409, "database_elsewhere")
        assert "pg_dump" in answer.json()["detail"]


def test_what_was_acknowledged_before_its_start_is_in_it(tmp_path):
    """The command line beside a running service, while three phones post."""
    told, stop = Told(), threading.Event()
    with Running(tmp_path) as server:
        batch = HTTP.post(f"{server.url}/api/batches", json={"name": "b"}).json()["id"]
        phones = [threading.Thread(target=phone, args=(server.url, batch, f"p{n}", stop, told)) for n in range(3)]
        for one in phones:
            one.start()
        try:
            for turn in range(3):
                while len(told.answers) < 5 * (turn + 1):
                    stop.wait(0.01)
                before = {number for numbers in list(told.answers.values()) for number in numbers}
                file, to = tmp_path / f"{turn}.tar", tmp_path / f"to{turn}"
                if turn == 2:
                    file.write_bytes(HTTP.get(f"{server.url}/api/backup", timeout=30).content)
                else:
                    call = ["backup", str(file), "--data", str(tmp_path / "data")]
                    done = CliRunner().invoke(command, call, standalone_mode=False)
                    assert done.return_value == 0, done.exception
                assert restore(file, to).check.whole
                back = Database(f"sqlite:///{to / 'log.sqlite3'}", read_only=True)
                with back.read() as c:
                    there = {row["id"] for row in entries_of(c, batch)}
                back.close()
                assert before <= there
        finally:
            stop.set()
            for one in phones:
                one.join()
    assert not told.trouble
    assert len(told.answers) > len(before)
