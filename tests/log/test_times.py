"""One notion of time in the log: what a photo counts from, in whose zone, and who told it, also for older logs."""

from __future__ import annotations

import csv
import io
import json

import pypdfium2
import pytest
from alembic import command

from service.bench.readings import logged
from service.log import store
from service.log.check.whole import check_log
from service.log.correction import Correction, corrected_entry
from service.log.course.state import observations
from service.log.database import Database
from service.log.listing import csv_export, pieces
from service.log.models import made_up_time, metadata
from service.log.notes import add_note
from service.log.opening.form import steps
from service.log.report_source import batch_record
from service.log.taken import moment_of, told_time
from service.report.batch_record import BatchRecord
from service.report.html import html_report
from service.report.pdf import pdf_report

OPENED = "2026-05-12T11:00:00+00:00"
CHICAGO = "America/Chicago"
EXIF, EXIF_ZONE = "2026-05-12T06:58:00", "2026-05-12T06:58:00-05:00"
AT = "2026-05-12T11:58:00.000000+00:00"
RECEIVED = "2026-05-12T15:00:00.000000+00:00"


def _row(snapped_at, snapped_from=None, camera=None, received=RECEIVED):
    extras = {} if snapped_from is None else {"snapped_from": snapped_from}
    return {
        "id": 1,
        "corrects_id": None,
        "received_at": received,
        "snapped_at": snapped_at,
        "extras": extras,
        "reading": {"taken_at": camera},
    }


@pytest.mark.parametrize(
    ("camera", "said", "by", "kept", "source"),
    [
        (EXIF_ZONE, None, "phone", EXIF_ZONE, "exif_zone"),
        (EXIF, None, "phone", EXIF_ZONE, "exif"),  # in the batch's zone
        (EXIF, "2026-05-12T12:01:00+00:00", "phone", "2026-05-12T12:01:00+00:00", "phone"),
        (EXIF, "2026-05-12T12:01:00+00:00", "file", EXIF_ZONE, "exif"),
        (None, "2026-05-12T12:01:00+00:00", "file", "2026-05-12T12:01:00+00:00", "file"),
        ("never", "2026-05-12T12:01:00+00:00", "file", "2026-05-12T12:01:00+00:00", "file"),
        (None, None, "phone", None, None),
    ],
)
def test_who_tells_the_time(camera, said, by, kept, source):
    assert told_time(camera, said, by, CHICAGO) == (kept, source)


@pytest.mark.parametrize(
    ("row", "at", "source"),
    [
        (_row(EXIF_ZONE, "exif_zone"), AT, "exif_zone"),
        (_row(EXIF_ZONE, "exif"), AT, "exif"),
        (_row("2026-05-12T06:58:00+09:00", "exif"), AT, "exif"),  # the zone was set right since: its clock counts
        (_row(EXIF_ZONE, "phone"), AT, "phone"),
        (_row(EXIF_ZONE, "file"), AT, "file"),
        (_row("2026-05-12T10:59:00+00:00", "file"), RECEIVED, "upload"),  # a file from before the batch: a copy's time
        (_row("2026-05-12T10:59:00+00:00", "phone"), "2026-05-12T10:59:00.000000+00:00", "phone"),
        (_row("2026-05-12T14:59:00+00:00", "phone"), RECEIVED, "upload"),  # at once
        (_row("2026-05-12T19:00:00+00:00", "exif_zone"), RECEIVED, "upload"),  # a clock ahead
        (_row(None), RECEIVED, "upload"),
        (_row("soon", "phone"), RECEIVED, "upload"),
        # an older log does not say who told it
        (_row(EXIF_ZONE, None, EXIF), AT, "exif"),
        (_row("2026-05-12T11:58:00+00:00", None, EXIF_ZONE), AT, "exif_zone"),
        (_row("2026-05-12T06:58:00.125-05:00", None, EXIF), "2026-05-12T11:58:00.125000+00:00", "phone"),
        (_row(EXIF_ZONE, None, "2026-05-12T06:57:59"), AT, "phone"),
        (_row(EXIF_ZONE, {"not": "text"}, None), AT, "phone"),
    ],
)
def test_what_a_photo_counts_from(row, at, source):
    found = moment_of(row, OPENED, CHICAGO)
    assert (found.at, found.source, found.zone) == (at, source, CHICAGO)


def test_a_damaged_batch_hides_no_entry():
    assert moment_of(_row(EXIF_ZONE, "phone"), "", "Nowhere/Land").at == RECEIVED


# --- a log with data


def _reading(camera):
    reading = {"photo": "a.jpg", "kind": "ph", "status": "ok", "ph": 6.5, "interval": [6.2, 6.8], "level": 0.95}
    reading |= {"alternatives": [], "pads": [], "misfit": 1.0, "reasons": [], "sha256": "a" * 64, "profile": "p"}
    return {**reading, "software": "stripread test", "seconds": 0.1, "taken_at": camera}


def _new(batch, camera, **more):
    return store.NewEntry(batch, "ph", "photo", "a" * 64, 9, _reading(camera), wash=1, **more)


@pytest.fixture
def log(tmp_path):
    database = Database(f"sqlite:///{tmp_path / 'log.sqlite3'}")
    database.migrate()
    with database.write() as c:
        with made_up_time("2026-05-12T11:00:00"):
            batch = store.add_batch(c, "of the morning", CHICAGO)
        with made_up_time("2026-05-12T15:00:00"):
            number = store.add_entry(c, _new(batch, EXIF, snapped_at=EXIF_ZONE, extras={"snapped_from": "exif"}))
            add_note(c, batch, "weight", {"of": "chloride", "grams": 12.0})
        with made_up_time("2026-05-12T16:00:00"):
            said = Correction(by="M.", why="it was the second", wash=2)
            store.add_entry(c, corrected_entry(store.entry(c, number), said, 9, None))
            store.change_batch(c, batch, name=None, closed=True, details=None)
    yield database
    database.close()


def _pdf_text(data):
    document = pypdfium2.PdfDocument(io.BytesIO(data))
    try:
        return " ".join(" ".join(page.get_textpage().get_text_range() for page in document).split())
    finally:
        document.close()


def test_the_report_prints_the_batch_s_own_clock(log):
    """The phone said 6:58 in the morning; the log's own time of it is 11:58."""
    with log.read() as c:
        record = batch_record(c, 1, {})
    for text in (html_report(record), _pdf_text(pdf_report(record))):
        assert "2026-05-12 06:58" in text
        assert "11:58" not in text
        assert "All times are those of America/Chicago (UTC-05:00)." in text
        assert "opened 2026-05-12 06:00" in text
        assert "closed 2026-05-12 11:00" in text
        assert "2026-05-12 10:00" in text  # the weight
        assert "2026-05-12 11:00: no. 2 replaces no. 1" in text  # the correction's own time
        assert text.count("-05:00") == 1
        assert "by the camera, which names no zone" in text


def test_the_csv_has_the_moment_its_local_time_and_who_told_it(log):
    rows = list(csv.DictReader(io.StringIO("".join(csv_export(pieces(log, 1))))))
    for row in rows:  # the correction has its original's
        assert row["moment_utc"] == AT
        assert row["moment_local"] == "2026-05-12T06:58:00-05:00"
        assert (row["moment_zone"], row["moment_source"]) == (CHICAGO, "exif")
    assert [row["received_at"][:16] for row in rows] == ["2026-05-12T15:00", "2026-05-12T16:00"]


def test_a_zone_set_right_moves_what_the_camera_told(log):
    with log.write() as c:
        store.change_batch(c, 1, name=None, closed=None, details=None, zone="Europe/Lisbon")
    with log.read() as c:
        batch, rows = store.known_batch(c, 1), store.entries_of(c, 1)
        assert batch["zone"] == "Europe/Lisbon"
        assert batch["details"] == {}
        # 6:58 in Lisbon is 5:58 in UTC, and no more than a day before the batch was opened
        assert {row["moment"].at for row in rows} == {"2026-05-12T05:58:00.000000+00:00"}
        assert [o.at for o in observations(c, batch, rows)] == [rows[0]["moment"].at]  # gates see the same
        assert store.batch_events(c, 1)[-1]["what"] == "zone"
        assert store.batch_events(c, 1)[-1]["detail"] == {"from": CHICAGO, "to": "Europe/Lisbon"}


def test_a_page_of_the_list_gives_a_correction_its_original_s_moment(log):
    with log.read() as c:
        (row,) = store.entries_of(c, 1, after=1)
        assert (row["id"], row["moment"].at) == (2, AT)
        assert store.entry(c, 2)["moment"].at == AT


def test_details_and_zone_leave_each_other_alone(log):
    with log.write() as c:
        store.change_batch(c, 1, name=None, closed=None, details={"water": "tap"})
        store.change_batch(c, 1, name=None, closed=None, details={"water": "air"}, zone="UTC")
        found = store.known_batch(c, 1)
        assert (found["details"], found["zone"]) == ({"water": "air"}, "UTC")


def _without_zone(log, place, form):
    """The same rows in a log of an older form, as that one wrote them: batches without a zone."""
    older = Database(f"sqlite:///{place / 'log.sqlite3'}")
    config = steps()
    with older.write() as c:
        config.attributes["connection"] = c
        command.upgrade(config, form)
    tables = metadata.tables
    with older.write() as new, log.read() as old:
        rows = [{**row, "extras": "{}"} for row in old.execute(tables["entries"].select()).mappings()]
        batch = {"id": 1, "name": "old", "opened_at": OPENED, "details": '{"water":"tap"}'}
        new.execute(tables["batches"].insert(), [batch])
        new.execute(tables["photos"].insert(), [{"sha256": "a" * 64, "size": 9, "first_at": RECEIVED}])
        new.execute(tables["entries"].insert(), rows)
    return older


def test_an_older_log_gets_this_computer_s_zone_and_keeps_its_rows(log, tmp_path, monkeypatch):
    place = tmp_path / "older"
    (place / "photos").mkdir(parents=True)
    older = _without_zone(log, place, "0001")
    with older.read() as c:
        before = [dict(row) for row in c.execute(metadata.tables["entries"].select()).mappings()]
    monkeypatch.setenv("TZ", CHICAGO)
    older.migrate()
    with older.read() as c:
        batch, rows = store.known_batch(c, 1), store.entries_of(c, 1)
        after = [dict(row) for row in c.execute(metadata.tables["entries"].select()).mappings()]
        assert after == before  # what was written stays as it was
        assert (batch["zone"], batch["details"]) == (CHICAGO, {"water": "tap"})
        assert json.loads(c.execute(metadata.tables["batches"].select()).mappings().one()["details"])["zone"] == CHICAGO
        assert store.batch_events(c, 1)[-1]["detail"] == {"from": None, "to": CHICAGO}
        assert [(row["moment"].at, row["moment"].source) for row in rows] == [(AT, "exif")] * 2
        assert logged(rows[0]["reading"]).kind == "ph"
    faults = [fault for fault in check_log(older, place).faults if "photo" not in fault]  # its file was never there
    assert faults == []
    monkeypatch.setenv("TZ", "Asia/Tokyo")
    older.migrate()
    with older.read() as c:
        assert store.known_batch(c, 1)["zone"] == CHICAGO  # once written, it is the batch's own
    older.close()


def test_a_damaged_batch_is_left_for_the_log_s_check(log, tmp_path):
    place = tmp_path / "torn"
    place.mkdir()
    older = _without_zone(log, place, "0002")
    with older.write() as c:
        c.exec_driver_sql("UPDATE batches SET details = '{torn'")
    older.migrate()
    with older.read() as c:
        assert c.exec_driver_sql("SELECT details FROM batches").scalar_one() == "{torn"
    older.close()


@pytest.mark.parametrize(
    ("zone", "at", "shown"),
    [
        ("America/Chicago (UTC-05:00)", "2026-06-01T10:00:00-05:00", "2026-06-01 10:00"),
        ("America/Chicago (UTC-05:00)", "2026-12-01T10:00:00-06:00", "2026-12-01 10:00 -06:00"),
        ("Europe/Lisbon (UTC+00:00, UTC+01:00)", "2026-06-01T10:00:00+01:00", "2026-06-01 10:00 +01:00"),
        ("UTC", "2026-06-01T10:00:00+00:00", "2026-06-01 10:00"),
        ("UTC", "not a time", "not a time"),
    ],
)
def test_a_report_says_an_offset_once_where_all_times_have_the_same(zone, at, shown):
    assert BatchRecord(1, "b", "", None, "", None, (), (), "", zone=zone).when(at) == shown
