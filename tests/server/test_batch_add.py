"""`stripread batch add`: photos into the log from the command line, by the same door as the phone's."""

from __future__ import annotations

import json
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest
from PIL import Image

from service.cli import main
from service.log import store
from service.log.course.state import observations
from service.log.database import Database
from service.log.taken import taken_times
from service.readers.add_photos import add_photos, entry_lines
from service.readers.intake import Submission
from service.terminal.once import SaidOnce
from stripread.errors import CallError
from tests.server.conftest import a_photo

DEMO = Path(__file__).parents[2] / "service" / "demo"


def _run(capsys, *args):
    with pytest.raises(SystemExit) as stop:
        main(["batch", *map(str, args)])
    out = capsys.readouterr()
    return stop.value.code, out.out, out.err


def _photo(folder, name, orders):
    path = folder / name
    path.write_bytes(a_photo(orders))
    return path


def test_beside_a_running_service_the_page_shows_it(own_client, settings, tmp_path):
    batch = own_client.post("/api/batches", json={"name": "b"}).json()["id"]
    path = _photo(tmp_path, "w.jpg", "ph=6.50")
    heard = []
    sent = (Submission(batch, "ph", "w.jpg", wash=3, note="from the card reader"), path)
    [taken] = add_photos(settings, [sent], heard.append)
    assert heard == [taken]
    [shown] = own_client.get(f"/api/batches/{batch}/readings").json()
    assert shown == taken.entry
    assert (shown["ph"], shown["log"]["wash"], shown["log"]["note"]) == (6.5, 3, "from the card reader")
    assert "pH 6.50  (95 %: 6.20 to 6.80)  [✓ read]" in entry_lines(taken, SaidOnce().own)
    # The phone sends the same photo a moment later: it is the same reading.
    files = {"photo": ("w.jpg", path.read_bytes(), "image/jpeg")}
    data = {"kind": "ph", "wash": "3", "note": "from the card reader"}
    again = own_client.post(f"/api/batches/{batch}/readings", files=files, data=data)
    assert again.headers["Idempotency-Replayed"] == "true"
    other = own_client.post(f"/api/batches/{batch}/readings", files=files, data={"kind": "ph"})
    assert (other.status_code, other.json()["code"]) == (409, "other_details")  # of another wash: a question
    assert len(own_client.get(f"/api/batches/{batch}/readings").json()) == 1


def test_refused_photos_are_logged_and_those_before_a_wrong_call_stay(settings, tmp_path):
    settings.data.mkdir()
    database = Database(settings.database_url)
    database.migrate()
    with database.write() as c:
        batch = store.add_batch(c, "b")
    good, bad = _photo(tmp_path, "a.jpg", "ph=2.00"), _photo(tmp_path, "b.jpg", "refuse")
    photos = [(Submission(batch, "ph", p.name), p) for p in (good, bad, tmp_path / "gone.jpg")]
    with pytest.raises(CallError, match=r"can't open .*gone\.jpg"):
        add_photos(settings, photos, lambda _: None)
    with database.read() as c:
        assert [row["reading"]["status"] for row in store.entries_of(c, batch)] == ["ok", "refused"]
    with pytest.raises(CallError, match="There is no batch 99"):
        add_photos(settings, [(Submission(99, "ph", "a.jpg"), good)], lambda _: None)
    with database.write() as c:
        store.change_batch(c, batch, name=None, closed=True, details=None)
    with pytest.raises(CallError, match="closed"):
        add_photos(settings, [(Submission(batch, "solid", "a.jpg"), good)], lambda _: None)
    database.close()


def _with_time(photo, when, zone=None):
    """The photo with an EXIF time (EXIF 2.32: tags 36867 and 36881) in front of what it has."""
    exif = Image.Exif()
    detail = exif.get_ifd(0x8769)
    detail[36867] = when.strftime("%Y:%m:%d %H:%M:%S")
    if zone:
        detail[36881] = zone
    block = exif.tobytes()
    return photo[:2] + b"\xff\xe1" + (len(block) + 2).to_bytes(2, "big") + block + photo[2:]


def test_photos_added_later_count_when_they_were_taken(capsys, tmp_path):
    data = ("--data", tmp_path / "log")
    assert _run(capsys, "new", "Chloride of June", *data)[0] == 0
    now = datetime.now().astimezone().replace(microsecond=0)
    solid = (DEMO / "windows" / "solid-1-early.jpg").read_bytes()
    times = [
        (now - timedelta(hours=2), None),  # without a zone: this computer's
        ((now - timedelta(hours=3)).astimezone(timezone(timedelta(hours=-7))), "-07:00"),
        (now - timedelta(days=40), None),  # before the batch: no clock that counts
        (now + timedelta(hours=5), None),
    ]
    for k, (when, zone) in enumerate(times):
        path = tmp_path / f"{k}.jpg"
        path.write_bytes(_with_time(solid, when, zone))
        code, _, err = _run(capsys, "add", 1, path, "--kind", "solid", "--confirm", *data)
        assert (code, err) == (0, "")
    database = Database(f"sqlite:///{tmp_path / 'log' / 'log.sqlite3'}")
    with database.read() as c:
        rows = store.entries_of(c, 1)
        taken = taken_times(rows, store.batch(c, 1)["opened_at"])
        seen = [datetime.fromisoformat(o.at) for o in observations(c, store.batch(c, 1), rows)]
    database.close()
    assert [datetime.fromisoformat(taken[n]) for n in (1, 2)] == [times[0][0], times[1][0]]
    assert [taken[row["id"]] for row in rows[2:]] == [row["received_at"] for row in rows[2:]]
    assert seen[:2] == [times[0][0], times[1][0]]  # gates see the same


@pytest.mark.slow
def test_a_strip_and_a_solid_as_a_person_calls_it(capsys, tmp_path):
    data = ("--data", tmp_path / "log")
    assert _run(capsys, "new", "Chloride of June", *data)[0] == 0
    strip, solid = DEMO / "photos" / "04-wash-03.jpg", DEMO / "windows" / "solid-1-early.jpg"
    code, out, err = _run(capsys, "add", 1, strip, "--wash", 3, "--profile", DEMO / "profile.toml", *data)
    assert (code, err) == (0, "")
    assert out.startswith("entry 1: pH ")
    code, out, _ = _run(capsys, "add", 1, solid, "--kind", "solid", "--json", *data)
    assert code == 0
    assert json.loads(out)["log"]["id"] == 2
    code, out, _ = _run(capsys, "add", 1, solid, "--kind", "solid", *data)
    assert "entry 2: " in out
    assert "in the log already" in out
    more = ("--profile", DEMO / "profile.toml", "--dipped-at", "70", "--blank", 1, "--json")
    code, out, _ = _run(capsys, "add", 1, DEMO / "photos" / "05-wash-04.jpg", *more, *data)
    told = json.loads(out)
    assert (code, told["waited_s"], told["log"]["blank_entry"]) == (0, 70.0, 1)
    assert "read_too_late" in {reason["code"] for reason in told["reasons"]}
    assert told["blank"]["ph"] is not None
    assert "Chloride of June, 3 readings" in _run(capsys, "list", *data)[1]


@pytest.mark.parametrize(
    "args",
    [
        (1, "nowhere.jpg", "--kind", "solid"),
        (0, DEMO / "strip.toml", "--kind", "solid"),
        (1, DEMO / "strip.toml", "--wash", 1000),
        (1, DEMO / "strip.toml", "--profile", "nowhere.toml"),
        (1, DEMO / "strip.toml"),
        (1, DEMO / "strip.toml", "--profile", DEMO / "profile.toml", "--dipped-at", "soon"),
        (1, DEMO / "strip.toml", "--profile", DEMO / "profile.toml", "--temperature-c", "120"),
        (1,),
    ],
)
def test_wrong_calls_are_one_line(capsys, tmp_path, args):
    (tmp_path / "log").mkdir()
    code, out, err = _run(capsys, "add", *args, "--data", tmp_path / "log")
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert "internal problem" not in err


def test_no_log_is_made_by_a_slip_in_its_name(capsys, tmp_path):
    code, _, err = _run(capsys, "add", 1, DEMO / "strip.toml", "--kind", "solid", "--data", tmp_path / "lgo")
    assert code == 2
    assert "no such folder" in err
    assert not (tmp_path / "lgo").exists()
