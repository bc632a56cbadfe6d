"""Zones over HTTP and on the command line: a batch has one, it can be set, and every entry is shown in it."""

import csv
import io
from datetime import UTC, datetime, timedelta

import pytest
from click.testing import CliRunner

from service.cli import main
from service.commands.batch import command
from service.moments import server_zone
from tests.server.conftest import a_photo


def _start(client, **more):
    return client.post("/api/batches", json={"name": "zoned"} | more)


def _send(client, batch, **form):
    files = {"photo": ("a.jpg", a_photo("ph=6.50"), "image/jpeg")}
    return client.post(f"/api/batches/{batch}/readings", files=files, data=form).json()


def test_a_batch_has_the_zone_of_the_phone_or_of_this_computer(client):
    assert _start(client, zone="America/Chicago").json()["zone"] == "America/Chicago"
    assert _start(client).json()["zone"] == server_zone()


def test_it_can_be_set_and_its_history_says_so(client):
    number = _start(client, zone="America/Chicago", water={"water": "tap"}).json()["id"]
    changed = client.patch(f"/api/batches/{number}", json={"zone": "Europe/Lisbon"}).json()
    assert (changed["zone"], changed["water"]["water"]) == ("Europe/Lisbon", "tap")
    event = client.get(f"/api/batches/{number}").json()["events"][-1]
    assert (event["what"], event["detail"]) == ("zone", {"from": "America/Chicago", "to": "Europe/Lisbon"})


@pytest.mark.parametrize("zone", ["Mars/Olympus", "../../etc/passwd", "+02:00", "America"])
def test_no_such_zone_is_said_and_nothing_is_started(client, zone):
    before = len(client.get("/api/batches").json())
    answer = _start(client, zone=zone)
    assert answer.status_code == 422
    assert "IANA name" in answer.json()["detail"]
    assert len(client.get("/api/batches").json()) == before


def test_an_entry_tells_its_moment_in_the_batch_s_zone_and_who_told_it(client):
    number = _start(client, zone="Asia/Kolkata").json()["id"]
    early = datetime.now(UTC) - timedelta(hours=3)
    seen = _send(client, number, snapped_at=early.isoformat())["log"]["moment"]
    assert datetime.fromisoformat(seen["utc"]) == datetime.fromisoformat(seen["local"]) == early
    assert seen["local"].endswith("+05:30")
    assert (seen["zone"], seen["source"], seen["told"]) == ("Asia/Kolkata", "phone", "by the phone's clock")
    arrived = _send(client, number)["log"]
    assert (arrived["moment"]["source"], arrived["moment"]["utc"]) == ("upload", arrived["received_at"])
    listed = client.get(f"/api/batches/{number}/readings").json()
    assert [entry["log"]["moment"]["source"] for entry in listed] == ["phone", "upload"]
    rows = csv.DictReader(io.StringIO(client.get(f"/api/batches/{number}/export.csv").text))
    assert [(row["moment_source"], row["moment_local"][-6:]) for row in rows] == [
        ("phone", "+05:30"),
        ("upload", "+05:30"),
    ]


def test_a_file_s_own_time_is_told_as_such(client):
    number = _start(client, zone="UTC").json()["id"]
    early = (datetime.now(UTC) - timedelta(hours=3)).isoformat()
    seen = _send(client, number, snapped_at=early, snapped_by="file")["log"]["moment"]
    assert seen["source"] == "upload"  # from before the batch was started: the time of a copy
    assert "snapped_by" in _send(client, number, snapped_by="me")["detail"]


def test_on_the_command_line(tmp_path):
    def run(*words):
        return CliRunner().invoke(command, [*words, "--data", str(tmp_path / "log")], standalone_mode=False)

    assert run("new", "June", "--zone", "Asia/Tokyo").output == "batch 1\n"
    assert run("zone", "1").output == "Asia/Tokyo\n"
    assert "+09:00 Asia/Tokyo  June" in run("list").output
    assert run("zone", "1", "Europe/Lisbon").output == "Europe/Lisbon\n"
    assert "Europe/Lisbon  June" in run("list").output


@pytest.mark.parametrize("words", [("new", "July", "--zone", "Mars/Olympus"), ("zone", "7"), ("zone", "1", "Nowhere")])
def test_a_wrong_call_is_one_line(tmp_path, capsys, words):
    def run(*said):
        with pytest.raises(SystemExit) as ended:
            main(["batch", *said, "--data", str(tmp_path / "log")])
        return ended.value.code, *capsys.readouterr()

    assert run("new", "June")[0] == 0
    code, out, err = run(*words)
    assert (code, out, len(err.strip().splitlines())) == (2, "", 1)
    assert len(run("list")[1].splitlines()) == 1
