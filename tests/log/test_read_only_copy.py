"""A log on a medium that nobody may write to: the batch commands read it as it stands and change nothing."""

from __future__ import annotations

import subprocess

import pytest
from click.testing import CliRunner

from service.commands.batch import command


@pytest.fixture
def sealed(sqlite_log):
    """The log's folder, mounted anew so that the system itself refuses every write (a mode would not bind root)."""
    place = str(sqlite_log.data)
    bind = ["mount", "--bind", place, place]
    if subprocess.run(bind, capture_output=True, check=False).returncode != 0:
        pytest.skip("needs the right to mount a folder read-only")
    try:
        subprocess.run(["mount", "-o", "remount,bind,ro", place], check=True)
        with pytest.raises(OSError, match="Read-only"):
            (sqlite_log.data / "new").touch()
        yield sqlite_log.data
    finally:
        subprocess.run(["umount", place], check=True)


@pytest.mark.parametrize("args", [("list",), ("show", "1"), ("stock",), ("report", "1")])
def test_the_batch_commands_read_it(sealed, tmp_path, args):
    out = ["--out", str(tmp_path / "report.html")] if args[0] == "report" else []
    done = CliRunner().invoke(command, [*args, *out, "--data", str(sealed)], standalone_mode=False)
    assert done.exception is None, done.output
    assert {"list": "the first", "show": "gate", "stock": "L in all", "report": "report.html"}[args[0]] in done.output
    assert not out or "reading 1" in (tmp_path / "report.html").read_text()


def test_nothing_is_written_into_it(sealed):
    args = ["note", "1", "used", "what=lye", "grams=5 g", "--data", str(sealed)]
    done = CliRunner().invoke(command, args, standalone_mode=False)
    assert "can't use the log" in str(done.exception)
