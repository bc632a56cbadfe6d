"""A log on a medium that nobody may write to: the batch commands read it as it stands and change nothing."""

from __future__ import annotations

import subprocess
from contextlib import contextmanager

import pytest
from click.testing import CliRunner

from service.commands.batch import command
from service.commands.reread import command as reread_command
from service.commands.serve import command as serve_command
from service.log import store
from service.log.database import Database


@contextmanager
def seal(folder):
    """A folder mounted anew so that the system itself refuses every write (a mode would not bind root)."""
    place = str(folder)
    bind = ["mount", "--bind", place, place]
    if subprocess.run(bind, capture_output=True, check=False).returncode != 0:
        pytest.skip("needs the right to mount a folder read-only")
    try:
        subprocess.run(["mount", "-o", "remount,bind,ro", place], check=True)
        with pytest.raises(OSError, match="Read-only"):
            (folder / "new").touch()
        yield
    finally:
        subprocess.run(["umount", place], check=True)


@pytest.fixture
def sealed(sqlite_log):
    """The log's folder, sealed."""
    with seal(sqlite_log.data):
        yield sqlite_log.data


@pytest.mark.parametrize("with_journal", [True, False])
def test_what_stands_only_in_the_journal_is_read_where_it_was_copied_too(sqlite_log, tmp_path, with_journal):
    copy = tmp_path / "copy"
    copy.mkdir()
    database = Database(sqlite_log.url)
    with database.write() as c:
        store.add_batch(c, "of this minute")
    names = ["log.sqlite3", "log.sqlite3-wal"][: 1 + with_journal]
    for name in names:  # as a copying program would find them while the service runs
        (copy / name).write_bytes((sqlite_log.data / name).read_bytes())
    database.close()
    with seal(copy):
        done = CliRunner().invoke(command, ["list", "--data", str(copy)], standalone_mode=False)
    assert done.exception is None, done.output
    assert "the first" in done.output
    assert ("of this minute" in done.output) == with_journal


@pytest.mark.parametrize("args", [("list",), ("show", "1"), ("stock",), ("report", "1")])
def test_the_batch_commands_read_it(sealed, tmp_path, args):
    out = ["--out", str(tmp_path / "report.html")] if args[0] == "report" else []
    done = CliRunner().invoke(command, [*args, *out, "--data", str(sealed)], standalone_mode=False)
    assert done.exception is None, done.output
    said = {"list": "the first", "show": "Gate: ? can't tell", "stock": "L in all", "report": "report.html"}
    assert said[args[0]] in done.output
    assert not out or "reading 1" in (tmp_path / "report.html").read_text()


def test_reading_again_needs_a_copy_that_can_be_written_to(sealed):
    done = CliRunner().invoke(reread_command, ["1", "--data", str(sealed)], standalone_mode=False)
    assert "copy the folder where it can be written to" in str(done.exception)


def test_the_service_says_that_it_writes_there(sealed, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    done = CliRunner().invoke(serve_command, ["--port", "1", "--data", str(sealed)], standalone_mode=False)
    assert "the service writes there: copy the folder where it may" in str(done.exception)


def test_nothing_is_written_into_it(sealed):
    args = ["note", "1", "used", "what=lye", "grams=5 g", "--data", str(sealed)]
    done = CliRunner().invoke(command, args, standalone_mode=False)
    assert "can't use the log" in str(done.exception)
