"""One rule for whose fault it is: the photo's 422, the bench computer's 503, a full disk 507, each with what to do."""

import errno
import sqlite3
import subprocess
import threading
import time
from concurrent.futures import ThreadPoolExecutor

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import create_engine, make_url, text
from sqlalchemy.exc import DatabaseError, OperationalError

from service.errors import BenchBusy, DiskFull
from service.log.blobs import Blobs
from service.log.check import check_log
from service.web.app import create_app
from service.web.bench_faults import fault_of
from tests.server.conftest import a_photo, settings_in


def _sqlite(name: str, kind=sqlite3.OperationalError) -> OperationalError:
    """An error as the driver raises it, with SQLite's own result code."""
    said = kind(name)
    said.sqlite_errorcode = getattr(sqlite3, name)
    return (DatabaseError if kind is sqlite3.DatabaseError else OperationalError)("INSERT", {}, said)


ROWS = [
    (OSError(errno.ENOSPC, "x"), DiskFull, "disk_full"),
    (OSError(errno.EDQUOT, "x"), DiskFull, "disk_full"),
    (OSError(errno.EIO, "x"), BenchBusy, "disk_trouble"),
    (OSError(errno.EMFILE, "x"), BenchBusy, "disk_trouble"),
    (OSError(errno.EROFS, "x"), BenchBusy, "not_writable"),
    (PermissionError(errno.EACCES, "x"), BenchBusy, "not_writable"),
    (_sqlite("SQLITE_FULL"), DiskFull, "disk_full"),
    (_sqlite("SQLITE_IOERR_WRITE"), BenchBusy, "disk_trouble"),
    (_sqlite("SQLITE_IOERR_FSYNC"), BenchBusy, "disk_trouble"),
    (_sqlite("SQLITE_READONLY_DBMOVED"), BenchBusy, "not_writable"),
    (_sqlite("SQLITE_BUSY"), BenchBusy, "database_busy"),
    (_sqlite("SQLITE_CORRUPT", sqlite3.DatabaseError), BenchBusy, "database_damaged"),
]


@pytest.mark.parametrize(("error", "kind", "code"), ROWS, ids=lambda value: str(value)[:40])
def test_each_error_has_its_fault(error, kind, code, tmp_path):
    fault = fault_of(error, tmp_path)
    assert (type(fault), fault.code) == (kind, code)
    assert fault.retry_after > 0


def test_an_input_error_on_a_full_disk_is_the_full_disk(tmp_path, monkeypatch):
    monkeypatch.setattr("service.web.bench_faults._has_no_room", lambda _: True)
    assert fault_of(_sqlite("SQLITE_IOERR_SHMSIZE"), tmp_path).code == "disk_full"


def test_other_errors_are_no_fault_of_the_disk():
    assert fault_of(ValueError("x")) is None


@pytest.mark.parametrize(
    ("number", "status", "code"), [(errno.EIO, 503, "disk_trouble"), (errno.ENOSPC, 507, "disk_full")]
)
def test_a_photo_that_the_disk_does_not_take(own_client, number, status, code, monkeypatch):
    own_client.post("/api/batches", json={"name": "b"})

    def broken(*_):
        raise OSError(number, "x")

    monkeypatch.setattr(Blobs, "keep", broken)
    answer = _post(own_client, a_photo())
    assert (answer.status_code, answer.json()["code"]) == (status, code)
    assert int(answer.headers["retry-after"]) > 0


def test_a_photo_whose_file_can_not_be_read_is_not_to_blame(own_client, monkeypatch):
    """The reader meets EIO at the photo, in its own process."""
    own_client.post("/api/batches", json={"name": "b"})
    answer = _post(own_client, a_photo("error=5"))
    assert (answer.status_code, answer.json()["code"]) == (503, "disk_trouble")


def test_a_photo_folder_turned_read_only_says_so_and_nothing_is_lost(tmp_path):
    settings = settings_in(tmp_path)
    photos = settings.data / "photos"
    photos.mkdir(parents=True)
    mount = ["mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", str(photos)]
    if subprocess.run(mount, capture_output=True, check=False).returncode != 0:
        pytest.skip("needs the right to mount a small file system")
    try:
        with TestClient(create_app(settings)) as client:
            client.post("/api/batches", json={"name": "b"})
            photo = a_photo()
            assert _post(client, a_photo()).status_code == 200
            subprocess.run(["mount", "-o", "remount,ro", str(photos)], check=True)
            answer = _post(client, photo, key="k")
            assert (answer.status_code, answer.json()["code"]) == (503, "not_writable")
            assert "Make it writable" in answer.json()["detail"]
            assert int(answer.headers["retry-after"]) > 0
            subprocess.run(["mount", "-o", "remount,rw", str(photos)], check=True)
            assert _post(client, photo, key="k").status_code == 200
            found = check_log(client.app.state.service.database, settings.data)
            assert (found.faults, found.entries, found.orphans) == ((), 2, ())
    finally:
        subprocess.run(["umount", "-l", str(photos)], check=True)


def test_a_lock_that_another_program_holds_costs_each_post_one_wait_not_the_queues(tmp_path):
    with TestClient(create_app(settings_in(tmp_path, database_wait=1.0, workers=2))) as client:
        client.post("/api/batches", json={"name": "b"})
        assert _post(client, a_photo()).status_code == 200  # the readers are there
        other = sqlite3.connect(tmp_path / "data" / "log.sqlite3", isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        gate = threading.Barrier(8)

        def post(n):
            gate.wait()
            began = time.monotonic()
            return _post(client, a_photo(), key=f"k{n}"), time.monotonic() - began

        with ThreadPoolExecutor(8) as phones:
            came = list(phones.map(post, range(8)))
        other.execute("ROLLBACK")
        other.close()
        assert {(a.status_code, a.json()["code"]) for a, _ in came} == {(503, "database_busy")}
        assert max(seconds for _, seconds in came) < 3.0  # one wait, and the readings; eight would be more than 8 s
        assert _post(client, a_photo(), key="k0").status_code == 200


def test_a_lock_in_postgresql_bounds_the_wait_too(tmp_path, postgres):
    server = create_engine(postgres, isolation_level="AUTOCOMMIT")
    with server.connect() as c:
        c.execute(text("CREATE DATABASE locked"))  # other tests look at the server's first one
    server.dispose()
    own = make_url(postgres).set(database="locked").render_as_string(hide_password=False)
    with TestClient(create_app(settings_in(tmp_path, database=own, database_wait=1.0))) as client:
        batch = client.post("/api/batches", json={"name": "b"}).json()["id"]
        path = f"/api/batches/{batch}/readings"
        other = create_engine(own)
        with other.connect() as holder:
            holder.execute(text("LOCK TABLE entries IN SHARE MODE"))  # readers pass, writers wait
            began = time.monotonic()
            answer = client.post(path, files={"photo": ("a.jpg", a_photo())})
            assert (answer.status_code, answer.json()["code"]) == (503, "database_busy")
            assert time.monotonic() - began < 4.0
        other.dispose()
        assert client.post(path, files={"photo": ("a.jpg", a_photo())}).status_code == 200


def _post(client, photo, key=None):
    headers = {"Idempotency-Key": key} if key else {}
    return client.post("/api/batches/1/readings", files={"photo": ("a.jpg", photo)}, headers=headers)
