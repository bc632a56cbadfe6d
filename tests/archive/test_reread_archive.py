"""The archive read again: what changed as table, page and plot; the log left alone; gone on with after kill -9."""

import csv
import json
import shutil
import signal
import subprocess
import sys
import time
from concurrent.futures import Future
from contextlib import closing
from pathlib import Path

import pytest
from click.testing import CliRunner

from service.commands.log_care import reread_archive as reread
from service.commands.log_care.reread_archive import reread_archive
from service.commands.reread import command
from service.log import store
from service.log.check import check_log
from service.log.database import Database
from service.readers.worker import read_job
from stripread.errors import CallError
from tests.archive.logs import PROFILE, add, made_log, wanted
from tests.server.fake_reader import FakeReader

ROOT = Path(__file__).resolve().parents[2]


class InProcess:
    """Reads here and at once: the processes are tried below, once each as they end well and badly."""

    at_once = 1
    longest = None

    def __init__(self, settings):
        self._reader = settings.reader()

    def read(self, job):
        future = Future()
        try:
            future.set_result(read_job(self._reader, job))
        except Exception as trouble:
            future.set_exception(trouble)
        return future

    def close(self):
        pass


@pytest.fixture
def in_process(monkeypatch):
    monkeypatch.setattr(reread, "_workers", lambda settings, *_: InProcess(settings))


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("archive")
    return made_log(folder / "data")


@pytest.fixture
def log(made, tmp_path):
    shutil.copytree(made.data, tmp_path / "data")
    return type(made)(tmp_path / "data", reader=made.reader, workers=2, reading_timeout=10)


def _content(settings):
    with closing(Database(settings.database_url, read_only=True)) as database, database.read() as c:
        return [store.entries_of(c, n) for n in (1, 2, 3, 4)]


def _run(capsys, settings, out, **more):
    assert reread_archive(settings, wanted(out, **more), as_json=True) == 0
    return json.loads(capsys.readouterr().out)


def test_what_changed_is_told_and_nothing_in_the_log_is_touched(log, tmp_path, capsys):
    before = _content(log)
    found = _run(capsys, log, tmp_path / "out")
    assert _content(log) == before
    # All but the one by hand; every pH half a unit higher, the refused one, the tint and the solid as they were.
    assert (found["read"], found["same"], found["missing"], found["other_strips"]) == (18, 3, [], 0)
    assert [change["now"]["ph"] - change["was"]["ph"] for change in found["changes"]] == [pytest.approx(0.5)] * 15
    # The first batch has gone on from its gate, the fourth stands before it.
    gates = [(g["batch"], g["stage"], g["passed"], g["was"], g["now"]) for g in found["gates"]]
    assert gates == [(n, "neutral-wash", n == 1, "open", "cannot tell") for n in (1, 4)]
    rows = list(csv.reader((tmp_path / "out" / "changes.csv").read_text().splitlines()))
    assert ["1", "1", "ph", "1", "ph", "7.6", "8.1"] in rows
    assert [row for row in rows if row[2] == "gate"] == [
        [str(n), "", "gate", "", "neutral-wash", "open", "cannot tell"] for n in (1, 4)
    ]
    page = (tmp_path / "out" / "report.html").read_text()
    assert "18 readings were made anew: 3 the same, 15 otherwise, 0 with another status." in page
    assert found["gates"][0]["sentence"][:20] in page
    assert "Nothing in the log was changed." in page
    assert "mathdefault" not in page  # ticks are words, not typesetting
    assert page.count("<svg") == 1
    assert (tmp_path / "out" / "plot.svg").read_text().startswith("<?xml")
    # The same call again reads nothing and says the same.
    lines = (tmp_path / "out" / "readings.jsonl").read_bytes()
    assert _run(capsys, log, tmp_path / "out") == found
    assert (tmp_path / "out" / "readings.jsonl").read_bytes() == lines


@pytest.mark.usefixtures("in_process")
def test_kept_when_asked_and_only_once(log, tmp_path, capsys):
    before = _content(log)
    assert _run(capsys, log, tmp_path / "out", keep=True)["added"] == 15
    after = _content(log)
    assert [rows[: len(old)] for rows, old in zip(after, before, strict=True)] == before
    new = after[0][3:]
    assert [(r["origin"], r["corrects_id"], r["reading"]["ph"], r["wash"]) for r in new] == [
        ("reread", n, 8.1, n) for n in (1, 2, 3)
    ]
    assert _run(capsys, log, tmp_path / "out", keep=True)["added"] == 0
    with closing(Database(log.database_url, read_only=True)) as database:
        assert check_log(database, log.data).whole
    again = _run(capsys, log, tmp_path / "anew")  # what was added is in force now, and reads the same
    assert (again["read"], again["same"]) == (18, 18)


@pytest.mark.usefixtures("in_process")
def test_another_profile_reads_its_own_strips_alone(log, tmp_path, capsys):
    profile = tmp_path / "new.toml"
    profile.write_text(PROFILE + "# measured again\n")
    found = _run(capsys, log, tmp_path / "out", profile=profile, keep=True)
    assert (found["read"], found["other_strips"], found["added"]) == (15, 3, 14)
    with closing(Database(log.database_url, read_only=True)) as database, database.read() as c:
        new = store.entry(c, store.newest_entry(c))
        assert store.profile_text(c, new["profile_sha256"]).endswith("# measured again\n")
        assert store.profile_text(c, store.entry(c, new["corrects_id"])["profile_sha256"]) == PROFILE


@pytest.mark.usefixtures("in_process")
def test_batches_and_a_day_choose(log, tmp_path, capsys):
    assert _run(capsys, log, tmp_path / "one", batches=(3, 1))["read"] == 7
    assert _run(capsys, log, tmp_path / "late", since="2999-01-01T00:00:00+00:00")["read"] == 0
    since = _content(log)[2][0]["received_at"]
    assert _run(capsys, log, tmp_path / "some", since=since)["read"] == 4


@pytest.mark.usefixtures("in_process")
def test_what_can_not_be_read_again_is_named(log, tmp_path, capsys):
    lost = _content(log)[1][0]
    (log.data / "photos" / lost["photo_sha256"][:2] / lost["photo_sha256"]).unlink()
    found = _run(capsys, log, tmp_path / "out", batches=(2,))
    assert (found["read"], found["missing"]) == (7, [lost["id"]])


@pytest.mark.usefixtures("in_process")
def test_another_question_needs_another_folder(log, tmp_path, capsys):
    _run(capsys, log, tmp_path / "out", batches=(3,))
    with pytest.raises(CallError, match="readings of another question"):
        reread_archive(log, wanted(tmp_path / "out"), as_json=True)
    (tmp_path / "odd").mkdir()
    (tmp_path / "odd" / "readings.jsonl").write_text("a letter\n")
    with pytest.raises(CallError, match="no file of readings"):
        reread_archive(log, wanted(tmp_path / "odd"), as_json=True)


@pytest.mark.usefixtures("in_process")
def test_readings_of_one_log_are_never_kept_in_another(log, tmp_path, capsys):
    _run(capsys, log, tmp_path / "out")
    other = made_log(tmp_path / "other")  # as many entries, of other photos
    with pytest.raises(CallError, match="readings of another log"):
        reread_archive(other, wanted(tmp_path / "out", keep=True), as_json=True)
    assert all(row["origin"] == "photo" for rows in _content(other) for row in rows)
    shutil.copytree(log.data, tmp_path / "copy")  # a copy of the log is the same log
    copied = type(log)(tmp_path / "copy", reader=log.reader, workers=2, reading_timeout=10)
    assert _run(capsys, copied, tmp_path / "out")["read"] == 18


@pytest.mark.usefixtures("in_process")
def test_a_damaged_photo_is_a_lost_one_and_its_reading_is_not_kept(log, tmp_path, capsys):
    hurt = _content(log)[1][0]
    (log.data / "photos" / hurt["photo_sha256"][:2] / hurt["photo_sha256"]).write_bytes(b"FAKE:ph=9.00;")
    found = _run(capsys, log, tmp_path / "out", batches=(2,), keep=True)
    assert (found["read"], found["added"], found["missing"]) == (7, 7, [hurt["id"]])
    assert hurt["id"] not in {row["corrects_id"] for row in _content(log)[1]}


@pytest.mark.usefixtures("in_process")
def test_a_line_that_was_cut_off_is_read_again(log, tmp_path, capsys):
    whole = _run(capsys, log, tmp_path / "out")
    file = tmp_path / "out" / "readings.jsonl"
    file.write_bytes(file.read_bytes()[:-40])
    assert _run(capsys, log, tmp_path / "out") == whole


def _hurt(log, batch, content):
    """Other content in the file of a new entry's photo; the entry's number, and how to have it whole again."""
    with closing(Database(log.database_url)) as database, database.write() as c:
        number = add(c, log.data, batch, "ph=6.00")
        sha256 = store.entry(c, number)["photo_sha256"]
    path = log.data / "photos" / sha256[:2] / sha256
    whole = path.read_bytes()
    path.write_bytes(content)
    return number, lambda: path.write_bytes(whole)


def test_a_photo_that_ends_its_reader_twice_stops_nothing(log, tmp_path, capsys):
    number, _mend = _hurt(log, 3, b"FAKE:die;")
    found = _run(capsys, log, tmp_path / "out")
    why = "ProcessExpired: Abnormal termination (9)"
    assert (found["read"], found["failed"]) == (18, [{"entry": number, "why": why}])


@pytest.mark.usefixtures("in_process")
def test_a_photo_that_fails_stops_nothing_and_is_tried_again(log, tmp_path, capsys):
    number, mend = _hurt(log, 1, b"FAKE:break;")
    found = _run(capsys, log, tmp_path / "out")
    assert (found["read"], found["failed"]) == (18, [{"entry": number, "why": "RuntimeError: a fault of ours"}])
    assert f"1 entry failed ({number}): readings.jsonl says why" in (tmp_path / "out" / "report.html").read_text()
    mend()
    found = _run(capsys, log, tmp_path / "out")
    assert (found["read"], found["failed"]) == (19, [])


@pytest.mark.usefixtures("in_process")
def test_wrong_calls_are_one_line(log, tmp_path):
    for words, said in (
        ([], "name a BATCH"),
        (["--all", "--since", "2025-05-12"], "goes without"),
        (["--since", "yesterday"], "takes a date"),
        (["--out", str(tmp_path / "x")], "say what to read again"),
        (["--workers", "2"], "say what to read again"),
        (["--batch", "9", "--out", str(tmp_path / "x")], "there is no batch 9"),
        (["--all", "--profile", str(tmp_path / "none.toml"), "--out", str(tmp_path / "x")], "none.toml"),
    ):
        done = CliRunner().invoke(command, [*words, "--data", str(log.data)])
        assert isinstance(done.exception, CallError), words
        assert said in str(done.exception)
        assert "\n" not in str(done.exception)


@pytest.mark.slow
def test_killed_again_and_again_it_ends_with_the_same_result(tmp_path, capsys):
    settings = made_log(tmp_path / "data", each=30, slow=0.06)
    call = [sys.executable, "-m", "tests.archive.killed", str(settings.data), str(tmp_path / "killed")]
    file = tmp_path / "killed" / "readings.jsonl"
    seen = 0
    for _unused in range(3):
        with subprocess.Popen(call, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
            until = time.monotonic() + 30
            while not file.exists() or file.read_bytes().count(b"\n") < seen + 5:
                assert time.monotonic() < until
                assert process.poll() is None, "it ended before it was killed"
                time.sleep(0.01)
            process.send_signal(signal.SIGKILL)
        seen = file.read_bytes().count(b"\n")
        assert 1 < seen < 41
    killed = _run(capsys, settings, tmp_path / "killed")
    whole = _run(capsys, settings, tmp_path / "whole")
    assert {**killed, "begun_at": 0} == {**whole, "begun_at": 0}
    assert (tmp_path / "killed" / "changes.csv").read_bytes() == (tmp_path / "whole" / "changes.csv").read_bytes()
    entries = [json.loads(line)["entry"] for line in file.read_text().splitlines()[1:]]
    assert len(entries) == len(set(entries)) == whole["read"] == 40


@pytest.mark.usefixtures("in_process")
def test_the_made_up_reader_reads_as_the_log_has_it(log, tmp_path, capsys):
    """So that all that changes above is the later reader's doing."""
    same = type(log)(log.data, reader=FakeReader, workers=2, reading_timeout=10)
    assert _run(capsys, same, tmp_path / "out")["changes"] == []
