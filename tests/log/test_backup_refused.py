"""A back-up that can't be made is refused in one line; a kill, a full disk or a taken name leave no half file."""

import errno
import os
import re
import shutil
import signal
import sqlite3
import stat
import subprocess
import sys
from contextlib import closing
from io import BytesIO
from pathlib import Path

import pytest
from sqlalchemy import select

from service.errors import BenchBusy, Conflict
from service.log.archive import snapshot
from service.log.archive.backup import prepare
from service.log.archive.restore import restore
from service.log.archive.whole_file import write_whole
from service.log.check import check_log
from service.log.database import Database
from service.log.models import sessions
from tests.log.conftest import add_reading
from tests.log.made_logs import as_older_form, made_log
from tests.log.repacked import apart, photo_in
from tests.log.test_backup import SECRET, add_phone, left
from tests.log.test_read_only_copy import seal
from tests.log.test_restore import run
from tests.server.nursery import ROOT


@pytest.mark.parametrize("how", ["file", "folder", "dangling link"])
def test_nothing_is_overwritten(sqlite_log, tmp_path, how):
    target = tmp_path / "b.tar"
    {"file": target.touch, "folder": target.mkdir, "dangling link": lambda: target.symlink_to("nowhere")}[how]()
    done = run("backup", target, "--data", sqlite_log.data)
    assert "is there already, and nothing is overwritten" in str(done.exception)
    assert left(tmp_path) == ["b.tar", "data"]
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
    assert left(tmp_path) == ["b.tar"]


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
    assert left(tmp_path) == ["b.tar", "data", "to"]


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
    assert left(tmp_path) == ["data"]
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
    assert left(tmp_path) == ["data"]
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
    assert left(tmp_path) == ["data", "made"]


def test_a_photo_that_the_disk_does_not_give(sqlite_log, tmp_path, monkeypatch):
    class Broken(BytesIO):
        def read(self, _=-1):
            raise OSError(errno.EIO, os.strerror(errno.EIO))

    monkeypatch.setattr("service.log.archive.backup._photo", lambda _: Broken())
    said = str(run("backup", tmp_path / "b.tar", "--data", sqlite_log.data).exception)
    assert re.search("photos/[0-9a-f/]+ can't be read: Input/output error", said)
    assert left(tmp_path) == ["data"]


def test_another_database_names_its_own_program(sqlite_log, tmp_path):
    url = "postgresql+psycopg://log@127.0.0.1:1/bench"
    said = str(run("backup", tmp_path / "b.tar", "--data", sqlite_log.data, "--database", url).exception)
    assert "pg_dump" in said
    assert "photos" in said
    assert left(tmp_path) == ["data"]


@pytest.mark.slow
def test_what_the_documents_say_of_postgresql(postgres_log, postgres, tmp_path):
    """Its own programs' dump, without the phones, is a whole log again."""
    if shutil.which("pg_dump") is None:
        pytest.skip("pg_dump is not installed")
    add_phone(postgres_log.url)
    with closing(Database(postgres_log.url)) as log:
        head = check_log(log, postgres_log.data).chain.head
    plain = postgres_log.url.replace("+psycopg", "")
    secret = [f"--exclude-table-data={table}" for table in ("sessions", "bench_secrets")]
    dump = ["pg_dump", "--format=custom", *secret, f"--file={tmp_path / 'log.dump'}", plain]
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
    assert left(tmp_path) == ["data"]


@pytest.mark.parametrize(("place", "words"), [("a/b.tar", "no such folder"), ("b.tar/c", "is a file, not a folder")])
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
    assert "can't write" in str(done.exception)
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
import signal, sys, time
signal.signal(signal.SIGINT, signal.default_int_handler)  # whoever began the tests may have had it ignored
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
        process.wait(60)
    there = left(tmp_path)
    assert "b.tar" not in there
    unfinished = [name for name in there if name.endswith(".part")]
    assert there == sorted(["data", *unfinished])
    assert len(unfinished) == (1 if sent == signal.SIGKILL else 0)  # and no copy of the database beside it
    assert run("backup", tmp_path / "b.tar", "--data", sqlite_log.data).return_value == 0
