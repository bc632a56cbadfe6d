"""The log as one file: all of one moment and no phone, there whole or not at all, and nothing is overwritten."""

import errno
import hashlib
import os
import re
import shutil
import signal
import sqlite3
import stat
import subprocess
import sys
import tarfile
import threading
from contextlib import closing
from io import BytesIO
from pathlib import Path

import pytest
from sqlalchemy import select

from service.errors import BenchBusy, Conflict
from service.log import store
from service.log.archive import snapshot, tape
from service.log.archive.backup import prepare
from service.log.archive.restore import restore
from service.log.archive.whole_file import write_whole
from service.log.check import check_log
from service.log.database import Database
from service.log.models import metadata, now, sessions
from tests.log.conftest import add_reading
from tests.log.made_logs import as_older_form, made_log
from tests.log.repacked import apart, photo_in
from tests.log.test_read_only_copy import seal
from tests.log.test_restore import run
from tests.server.running import ROOT

SECRET = "c" * 60 + "beef"
DEVICE = "the phone of somebody"


def _rows(url):
    with closing(Database(url, read_only=True)) as log, log.read() as c:
        tables = [t for name, t in sorted(metadata.tables.items()) if name != "sessions"]
        return {table.name: c.execute(select(table).order_by(*table.primary_key)).fetchall() for table in tables}


def _phone(url):
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
    _phone(sqlite_log.url)
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
    assert _left(tmp_path) == ["data"]


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


# --- what is refused


def _left(folder):
    return sorted(p.name for p in folder.iterdir())


@pytest.mark.parametrize("how", ["file", "folder", "dangling link"])
def test_nothing_is_overwritten(sqlite_log, tmp_path, how):
    target = tmp_path / "b.tar"
    {"file": target.touch, "folder": target.mkdir, "dangling link": lambda: target.symlink_to("nowhere")}[how]()
    done = run("backup", target, "--data", sqlite_log.data)
    assert "is there already, and nothing is overwritten" in str(done.exception)
    assert _left(tmp_path) == ["b.tar", "data"]
    assert how != "file" or target.read_bytes() == b""
    assert how != "dangling link" or target.is_symlink()


@pytest.mark.parametrize("links", [True, False])
def test_a_name_that_is_taken_meanwhile_is_kept(tmp_path, monkeypatch, links):
    if not links:
        _no_links(monkeypatch)

    def pieces():
        yield b"ours"
        (tmp_path / "b.tar").write_bytes(b"theirs")

    with pytest.raises(Conflict, match="there already"):
        write_whole(tmp_path / "b.tar", pieces())
    assert (tmp_path / "b.tar").read_bytes() == b"theirs"
    assert _left(tmp_path) == ["b.tar"]


def test_the_disk_has_it_before_it_has_its_name(tmp_path, monkeypatch):
    done, real_sync, real_link = [], os.fsync, os.link

    def sync(handle):
        done.append("file" if stat.S_ISREG(os.fstat(handle).st_mode) else "folder")
        real_sync(handle)

    def link(*names):
        done.append("named")
        real_link(*names)

    monkeypatch.setattr(os, "fsync", sync)
    monkeypatch.setattr(os, "link", link)
    write_whole(tmp_path / "b.tar", [b"a", b"b"])
    assert done == ["file", "named", "folder"]
    assert (tmp_path / "b.tar").read_bytes() == b"ab"


def _no_links(monkeypatch):
    def refused(*_):
        raise OSError(errno.EPERM, "x")

    monkeypatch.setattr(os, "link", refused)


def test_a_stick_without_links(sqlite_log, tmp_path, monkeypatch):
    _no_links(monkeypatch)
    assert run("backup", tmp_path / "b.tar", "--data", sqlite_log.data).return_value == 0
    assert restore(tmp_path / "b.tar", tmp_path / "to").check.whole
    assert _left(tmp_path) == ["b.tar", "data", "to"]


def _a_photo(log) -> Path:
    return next(p for p in sorted((log.data / "photos").rglob("*")) if p.is_file())


def _to_link(photo):
    photo.rename(photo.with_suffix(".real"))
    photo.symlink_to(photo.with_suffix(".real"))


def _to_fifo(photo):
    photo.unlink()
    os.mkfifo(photo)


PHOTOS = {
    "gone": (lambda p: p.unlink(), "is missing"),
    "changed": (lambda p: p.write_bytes(b"\0" * p.stat().st_size), "is not what it was"),
    "cut off": (lambda p: p.write_bytes(p.read_bytes()[:-1]), "is not what it was"),
    "longer": (lambda p: p.write_bytes(p.read_bytes() + b"x"), "is not what it was"),
    "a link": (_to_link, "can't be read"),
    "a fifo": (_to_fifo, "is no file"),
}


@pytest.mark.parametrize("how", PHOTOS)
def test_a_photo_that_is_not_what_it_was(sqlite_log, tmp_path, how):
    change, words = PHOTOS[how]
    change(_a_photo(sqlite_log))
    said = str(run("backup", tmp_path / "b.tar", "--data", sqlite_log.data).exception)
    assert words in said
    assert "no back-up was made" in said
    assert "stripread log check" in said
    assert _left(tmp_path) == ["data"]
    done = run("backup", tmp_path / "b.tar", "--data", sqlite_log.data, "--damaged")
    assert (done.return_value, "fault: photo" in done.output) == (1, True)
    assert "--damaged restores it" in str(run("restore", tmp_path / "b.tar", "--to", tmp_path / "to").exception)
    done = run("restore", tmp_path / "b.tar", "--to", tmp_path / "to", "--damaged")
    assert (done.return_value, "NOT WHOLE" in done.output) == (1, True)


def _change_an_entry(log):
    with closing(sqlite3.connect(log.data / "log.sqlite3", isolation_level=None)) as c:
        c.execute("DROP TRIGGER entries_no_update")
        c.execute("UPDATE entries SET wash = 9 WHERE id = 2")


def test_a_log_that_is_not_whole(sqlite_log, tmp_path):
    _change_an_entry(sqlite_log)
    done = run("backup", tmp_path / "b.tar", "--data", sqlite_log.data)
    assert "The log is not whole, so no back-up was made" in str(done.exception)
    assert _left(tmp_path) == ["data"]
    assert run("backup", tmp_path / "b.tar", "--data", sqlite_log.data, "--damaged").return_value == 1
    with closing(Database(sqlite_log.url)) as log:
        faults = check_log(log, sqlite_log.data).faults
    assert set(restore(tmp_path / "b.tar", tmp_path / "to", damaged=True).check.faults) == set(faults)


def test_a_damaged_log_is_restored_as_damaged_as_it_was_and_no_more(sqlite_log, tmp_path):
    _change_an_entry(sqlite_log)
    run("backup", tmp_path / "b.tar", "--data", sqlite_log.data, "--damaged")
    for change in (lambda parts: parts.drop(photo_in(parts)), lambda parts: parts.manifest["faults"].append("x")):
        parts = apart(tmp_path / "b.tar")
        change(parts)
        (tmp_path / "changed.tar").write_bytes(parts.together())
        done = run("restore", tmp_path / "changed.tar", "--to", tmp_path / "to", "--damaged")
        assert "is missing" in str(done.exception) or "does not have" in str(done.exception)
    assert not (tmp_path / "to").exists()


def test_a_log_without_a_chain_is_no_internal_problem(tmp_path):
    made = made_log(tmp_path / "made", 1, 5)
    (tmp_path / "data").mkdir()
    as_older_form(made, tmp_path / "data" / "log.sqlite3").close()
    made.database.close()
    call = ("backup", tmp_path / "b.tar", "--data", tmp_path / "data")
    assert "the older form 0001" in str(run(*call).exception)
    assert "copy its folder" in str(run(*call, "--damaged").exception)
    assert _left(tmp_path) == ["data", "made"]


def test_a_photo_that_the_disk_does_not_give(sqlite_log, tmp_path, monkeypatch):
    class Broken(BytesIO):
        def read(self, _=-1):
            raise OSError(errno.EIO, os.strerror(errno.EIO))

    monkeypatch.setattr("service.log.archive.backup._photo", lambda _: Broken())
    said = str(run("backup", tmp_path / "b.tar", "--data", sqlite_log.data).exception)
    assert re.search("photos/[0-9a-f/]+ can't be read: Input/output error", said)
    assert _left(tmp_path) == ["data"]


def test_another_database_names_its_own_program(sqlite_log, tmp_path):
    url = "postgresql+psycopg://log@127.0.0.1:1/bench"
    said = str(run("backup", tmp_path / "b.tar", "--data", sqlite_log.data, "--database", url).exception)
    assert "pg_dump" in said
    assert "photos" in said
    assert _left(tmp_path) == ["data"]


@pytest.mark.slow
def test_what_the_documents_say_of_postgresql(postgres_log, postgres, tmp_path):
    """Its own programs' dump, without the phones, is a whole log again."""
    if shutil.which("pg_dump") is None:
        pytest.skip("pg_dump is not installed")
    _phone(postgres_log.url)
    with closing(Database(postgres_log.url)) as log:
        head = check_log(log, postgres_log.data).chain.head
    plain = postgres_log.url.replace("+psycopg", "")
    dump = ["pg_dump", "--format=custom", "--exclude-table-data=sessions", f"--file={tmp_path / 'log.dump'}", plain]
    back = f"{plain.rpartition('/')[0]}/back"
    for call in (
        dump,
        ["psql", "--quiet", plain, "--command=CREATE DATABASE back"],
        ["pg_restore", "--exit-on-error", f"--dbname={back}", str(tmp_path / "log.dump")],
    ):
        done = subprocess.run(call, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
    assert SECRET.encode() not in (tmp_path / "log.dump").read_bytes()
    with closing(Database(back.replace("postgresql:", "postgresql+psycopg:"))) as log:
        found = check_log(log, postgres_log.data)
        with log.read() as c:
            assert c.execute(select(sessions)).first() is None
    assert (found.faults, found.chain.head) == ((), head)


def test_a_database_that_another_program_holds(sqlite_log, tmp_path, monkeypatch):
    """Between the first look at it and its copy: the driver itself would try for ever."""
    real, own_clock = sqlite3.connect, snapshot._for_a_while
    monkeypatch.setattr(snapshot, "BUSY_SECONDS", 0.2)
    monkeypatch.setattr(sqlite3, "connect", lambda *a, **k: real(*a, **{**k, "timeout": 0.1}))
    with closing(real(sqlite_log.data / "log.sqlite3", isolation_level=None)) as other:
        other.execute("PRAGMA journal_mode=DELETE")

        def locked():
            other.execute("BEGIN EXCLUSIVE")
            return own_clock()

        monkeypatch.setattr(snapshot, "_for_a_while", locked)
        with pytest.raises(BenchBusy):
            prepare(sqlite_log.url, sqlite_log.data, tmp_path / "scratch")
    assert _left(tmp_path) == ["data"]


@pytest.mark.parametrize(("place", "words"), [("a/b.tar", "no such folder"), ("b.tar/c", "no such folder")])
def test_a_folder_that_is_not_there(sqlite_log, tmp_path, place, words):
    (tmp_path / "b.tar").touch()
    assert words in str(run("backup", tmp_path / place, "--data", sqlite_log.data).exception)


def test_without_a_log(tmp_path):
    assert "no such folder" in str(run("backup", tmp_path / "b.tar", "--data", tmp_path / "none").exception)
    (tmp_path / "empty").mkdir()
    assert "there is no log in" in str(run("backup", tmp_path / "b.tar", "--data", tmp_path / "empty").exception)


def test_into_a_folder_that_nobody_may_write_to(sqlite_log, tmp_path):
    place = tmp_path / "sealed"
    place.mkdir()
    with seal(place):
        done = run("backup", place / "b.tar", "--data", sqlite_log.data)
    assert "can't write to" in str(done.exception)
    assert "Read-only" in str(done.exception)


def test_from_a_folder_that_nobody_may_write_to(sqlite_log, tmp_path):
    with seal(sqlite_log.data):
        assert run("backup", tmp_path / "b.tar", "--data", sqlite_log.data).return_value == 0
    assert restore(tmp_path / "b.tar", tmp_path / "to").check.whole


@pytest.mark.parametrize("size", ["96k", "420k"])  # not even the database; the database, but not all of the file
def test_onto_a_disk_that_is_full(sqlite_log, tmp_path, size):
    with closing(Database(sqlite_log.url)) as log, log.write() as c:
        for n in range(60):
            add_reading(c, sqlite_log.data, 1, 5.5, note=f"{n} " + "x" * 2000)
    place = tmp_path / "small"
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(place)]
    if subprocess.run(mount, capture_output=True, check=False).returncode != 0:
        pytest.skip("needs the right to mount a small file system")
    try:
        said = str(run("backup", place / "b.tar", "--data", sqlite_log.data).exception)
        assert "no back-up was made" in said
        assert "full" in said
        assert "\n" not in said
        assert list(place.iterdir()) == []
    finally:
        subprocess.run(["umount", str(place)], check=True)


SLOW = """
import sys, time
from service.log.archive import backup
real = backup._held_against
def slow(source, member):
    for piece in real(source, member):
        yield piece
        if member.name.startswith("photos/"):
            print("in the middle", flush=True)
            time.sleep(60)
backup._held_against = slow
from service.cli import main
main(sys.argv[1:])
"""


@pytest.mark.parametrize("sent", [signal.SIGKILL, signal.SIGINT])
def test_killed_in_the_middle_it_is_not_there(sqlite_log, tmp_path, sent):
    call = [sys.executable, "-c", SLOW, "log", "backup", str(tmp_path / "b.tar"), "--data", str(sqlite_log.data)]
    with subprocess.Popen(call, cwd=ROOT, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout.readline() == "in the middle\n"
        process.send_signal(sent)
        process.wait(10)
    left = _left(tmp_path)
    assert "b.tar" not in left
    unfinished = [name for name in left if name.endswith(".part")]
    assert left == sorted(["data", *unfinished])
    assert len(unfinished) == (1 if sent == signal.SIGKILL else 0)  # and no copy of the database beside it
    assert run("backup", tmp_path / "b.tar", "--data", sqlite_log.data).return_value == 0
