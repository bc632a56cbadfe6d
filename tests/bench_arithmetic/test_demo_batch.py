"""The made-up batch: real photos through the real reader, gates as at the bench, its report from the log alone."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from service.cli import main
from service.log.check import check_log
from service.settings import Settings

pytestmark = pytest.mark.slow  # 27 photos through the real reader

DEMO = Path(__file__).parents[2] / "service" / "demo"


def _call(*args):
    with pytest.raises(SystemExit) as stop:
        main(["batch", *args])
    return stop.value.code


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo")
    assert _call("demo", "--out", str(folder / "out"), "--data", str(folder / "log")) == 0
    return folder


def test_the_report_has_every_photo_and_is_remade_from_the_log_byte_for_byte(made):
    page = (made / "out" / "batch.html").read_bytes()
    assert page.count(b"data:image/jpeg;base64,") == 29
    assert b"Went on against the gate:" in page
    assert b"no. 6 replaces no. 4, by A.: was noted as wash 3" in page
    for form in ("html", "pdf"):
        again = made / f"again.{form}"
        assert _call("report", "1", "--out", str(again), "--data", str(made / "log")) == 0
        assert again.read_bytes() == (made / "out" / f"batch.{form}").read_bytes()


def test_the_gates_opened_by_the_readings_themselves(made, capsys):
    assert _call("show", "1", "--json", "--data", str(made / "log")) == 0
    state = json.loads(capsys.readouterr().out)
    assert state["stage"]["id"] == "melt"
    assert [m["state"] for m in state["moves"]] == ["open", "open", "hold", "cannot tell", "open", "open", "open"]
    assert all(m["reason"] for m in state["moves"] if m["state"] != "open")


def test_readings_hold_what_was_rendered(made):
    from service.log.database import Database
    from service.log.store import entries_of

    with (DEMO / "batch" / "truth.csv").open() as file:
        truth = {r["photo"]: (r["kind"], float(r["truth"])) for r in csv.DictReader(file)}
    log = Database(Settings(made / "log").database_url)
    with log.read() as c:
        rows = {r["reading"]["photo"]: r for r in entries_of(c, 1)}
    assert check_log(log, made / "log").whole
    log.close()
    for photo, (kind, value) in truth.items():
        row = rows[photo]
        assert row["kind"] == kind
        assert row["status"] != "refused"
        if row["low"] is None:  # a doubtful tint may give its decision without a figure
            assert row["reading"]["decision"] == "copper"
            assert value > 0
            continue
        assert row["low"] - 1e-9 <= value <= row["high"] + 1e-9


def test_it_never_goes_into_a_log_that_is_there(made, capsys):
    assert _call("demo", "--out", str(made / "o2"), "--data", str(made / "log")) == 2
    assert "is there already" in capsys.readouterr().err
