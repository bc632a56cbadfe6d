"""The log as one file: all of one moment and no phone, for any program that reads tar files, and a log again."""

import hashlib
import sqlite3
import tarfile
import threading
from contextlib import closing
from io import BytesIO

import pytest
from sqlalchemy import select

from service.log import store
from service.log.archive import snapshot, tape
from service.log.archive.backup import prepare
from service.log.archive.restore import restore
from service.log.archive.whole_file import write_whole
from service.log.check import check_log
from service.log.database import Database
from service.log.models import metadata, now, sessions
from tests.log.conftest import add_reading
from tests.log.made_logs import made_log
from tests.log.repacked import apart
from tests.log.test_restore import run

SECRET = "c" * 60 + "beef"
DEVICE = "the phone of somebody"


def _rows(url):
    with closing(Database(url, read_only=True)) as log, log.read() as c:
        tables = [t for name, t in sorted(metadata.tables.items()) if name != "sessions"]
        return {table.name: c.execute(select(table).order_by(*table.primary_key)).fetchall() for table in tables}


def left(folder):
    """What is in a folder."""
    return sorted(p.name for p in folder.iterdir())


def add_phone(url):
    """A paired phone in the log."""
    with closing(Database(url)) as log, log.write() as c:
        c.execute(sessions.insert().values(secret_sha256=SECRET, device=DEVICE, paired_at=now()))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_round_trip(tmp_path, seed):
    log = made_log(tmp_path / "data", seed, 40)
    head = check_log(log.database, log.data).chain.head
    file, to = tmp_path / "b.tar", tmp_path / "to"
    done = run("backup", file, "--data", log.data)
    assert (done.return_value, f"head: {head}" in done.output) == (0, True)
    log.database.close()
    done = run("restore", file, "--to", to)
    assert (done.return_value, f"head: {head}" in done.output, "whole" in done.output) == (0, True, True)
    assert _rows(f"sqlite:///{to / 'log.sqlite3'}") == _rows(f"sqlite:///{log.data / 'log.sqlite3'}")
    photos = {p.relative_to(log.data): p.read_bytes() for p in (log.data / "photos").rglob("*") if p.is_file()}
    assert {p.relative_to(to): p.read_bytes() for p in (to / "photos").rglob("*") if p.is_file()} == photos
    assert run("check", "--data", to, "--head", head).return_value == 0
    assert sorted(p.name for p in tmp_path.iterdir()) == ["b.tar", "data", "to"]


def test_a_restored_log_goes_on(sqlite_log, tmp_path):
    run("backup", tmp_path / "b.tar", "--data", sqlite_log.data)
    to = tmp_path / "to"
    run("restore", tmp_path / "b.tar", "--to", to)
    with closing(Database(f"sqlite:///{to / 'log.sqlite3'}")) as log:
        log.migrate()
        with log.write() as c:
            add_reading(c, to, 1, 5.5, note="after")
        found = check_log(log, to, sqlite_log.head)
    assert (found.faults, found.entries) == ((), 6)


def test_any_program_for_tar_and_hashes_reads_it(sqlite_log, tmp_path):
    file = tmp_path / "b.tar"
    run("backup", file, "--data", sqlite_log.data)
    with tarfile.open(file, "r:") as tar:
        infos = tar.getmembers()
        contents = {i.name: tar.extractfile(i).read() for i in infos}
    assert all(i.isreg() and i.mode == 0o600 for i in infos)
    assert len({i.mtime for i in infos}) == 1
    listed = dict(reversed(line.split("  ")) for line in contents.pop("SHA256SUMS").decode().splitlines())
    assert listed == {name: hashlib.sha256(content).hexdigest() for name, content in contents.items()}
    assert file.stat().st_size % 10240 == 0
    assert file.stat().st_mode & 0o777 == 0o600


def test_a_size_beyond_the_header_is_read_by_others_too():
    size = 9 * 1024**3
    with tarfile.open(fileobj=BytesIO(tape.header("log.sqlite3", size, 5)), mode="r:") as tar:
        info = tar.next()
    assert (info.name, info.size, info.mtime, info.isreg()) == ("log.sqlite3", size, 5, True)
    assert tape.span("log.sqlite3", size, 5) == 3 * 512 + size


@pytest.mark.parametrize("still_there", [True, False])
def test_no_phone_leaves_in_it(sqlite_log, tmp_path, still_there):
    """Nor do the bytes of those that were deleted, which a database may keep in pages that it uses no longer."""
    add_phone(sqlite_log.url)
    if not still_there:
        with closing(sqlite3.connect(sqlite_log.data / "log.sqlite3", isolation_level=None)) as c:
            c.execute("PRAGMA secure_delete=OFF")
            for n in range(100):
                c.execute("INSERT INTO sessions (secret_sha256, device, paired_at) VALUES (?, ?, 'x')", (n, "y" * 99))
            c.execute("DELETE FROM sessions")
    run("backup", tmp_path / "b.tar", "--data", sqlite_log.data)
    inside = (tmp_path / "b.tar").read_bytes()
    there = b"".join(p.read_bytes() for p in sqlite_log.data.glob("log.sqlite3*"))
    for secret in (SECRET.encode(), DEVICE.encode()):
        assert secret in there
        assert secret not in inside
    with closing(Database(sqlite_log.url)) as log, log.read() as c:
        assert c.execute(select(sessions.c.device)).scalars().all() == [DEVICE] * still_there  # the log itself keeps it


def test_nobody_else_reads_its_copies_meanwhile(sqlite_log, tmp_path, monkeypatch):
    """The first copy has the phones still in it."""
    seen, real = {}, snapshot.discard

    def discard(place):
        seen[place.name] = place.stat().st_mode & 0o777
        real(place)

    monkeypatch.setattr(snapshot, "discard", discard)
    monkeypatch.setattr("service.log.archive.backup.discard", discard)
    prepare(sqlite_log.url, sqlite_log.data, tmp_path / "scratch").close()
    assert seen == {"scratch-all": 0o600, "scratch": 0o600}
    assert left(tmp_path) == ["data"]


def test_what_no_entry_names_stays_behind(sqlite_log, tmp_path):
    loose = hashlib.sha256(b"loose").hexdigest()
    place = sqlite_log.data / "photos" / loose[:2]
    place.mkdir(exist_ok=True)
    (place / loose).write_bytes(b"loose")
    (sqlite_log.data / "derived").mkdir()
    (sqlite_log.data / "derived" / "x").touch()
    run("backup", tmp_path / "b.tar", "--data", sqlite_log.data)
    parts = apart(tmp_path / "b.tar")
    assert len(parts.files) == 1 + parts.manifest["counts"]["photos"] + parts.manifest["counts"]["profiles"]
    assert not [name for name in parts.files if loose in name]


def test_its_size_is_known_before(sqlite_log, tmp_path):
    with closing(prepare(sqlite_log.url, sqlite_log.data, tmp_path / "scratch")) as made:
        assert sum(map(len, made.pieces())) == made.size
    assert list(tmp_path.glob("scratch*")) == []


def test_what_is_logged_after_its_start_is_not_in_it(sqlite_log, tmp_path):
    made = prepare(sqlite_log.url, sqlite_log.data, tmp_path / "scratch")
    with closing(Database(sqlite_log.url)) as log, log.write() as c:
        add_reading(c, sqlite_log.data, 1, 5.5, note="meanwhile")
    write_whole(tmp_path / "b.tar", made.pieces())
    made.close()
    assert restore(tmp_path / "b.tar", tmp_path / "to").check.entries == 5


def test_a_writer_in_the_middle_of_its_work_keeps_nobody_waiting(sqlite_log, tmp_path):
    with closing(Database(sqlite_log.url)) as log, log.write() as c:
        add_reading(c, sqlite_log.data, 1, 5.5, note="not acknowledged")
        assert run("backup", tmp_path / "b.tar", "--data", sqlite_log.data).return_value == 0
    assert restore(tmp_path / "b.tar", tmp_path / "to").check.entries == 5


def test_while_others_write_it_is_of_one_moment(sqlite_log, tmp_path):
    """What was acknowledged before a back-up's start is in it, and each back-up is whole."""
    log, stop, acknowledged = Database(sqlite_log.url), threading.Event(), []

    def write():
        while not stop.is_set():
            with log.write() as c:
                number = add_reading(c, sqlite_log.data, 1, 5.5, note=f"of {len(acknowledged)}")
            acknowledged.append(number)

    writers = [threading.Thread(target=write) for _ in range(3)]
    for writer in writers:
        writer.start()
    try:
        for turn in range(4):
            before = set(acknowledged)
            assert run("backup", tmp_path / f"{turn}.tar", "--data", sqlite_log.data).exception is None
            restore(tmp_path / f"{turn}.tar", tmp_path / f"to{turn}")
            back = Database(f"sqlite:///{tmp_path / f'to{turn}' / 'log.sqlite3'}", read_only=True)
            with closing(back), back.read() as c:
                assert before <= {row["id"] for row in store.entries_of(c, 1)}
    finally:
        stop.set()
        for writer in writers:
            writer.join()
        log.close()
    assert len(acknowledged) > len(before) > 0
