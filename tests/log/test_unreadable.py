"""One damaged row takes nothing else away: it is marked, the rest is served, and no gate opens over it."""

from __future__ import annotations

import csv
import io

import pytest

from service.log import store
from service.log.course.state import batch_state
from service.log.database import Database
from service.log.listing import csv_export, json_list, pieces
from service.log.report_source import batch_record
from service.log.unreadable import rereadable
from service.report.html import html_report
from tests.log.test_tampering import as_owner

DAMAGES = ["extras = '{'", "extras = '{\"said\": 5}'", "reading = '[]'", "reading = 'x'", "received_at = 'noon'"]


@pytest.mark.parametrize("damage", DAMAGES)
def test_lists_and_report_serve_the_rest(sqlite_log, damage):
    as_owner(sqlite_log, f"UPDATE entries SET {damage} WHERE id = 2")
    database = Database(sqlite_log.url)
    with database.read() as c:
        rows = store.entries_of(c, 1)
        record, state = batch_record(c, 1, {}), batch_state(c, 1)
    assert [row["id"] for row in rows if row.get("unreadable")] == [2]
    assert [r.reading.refused for r in record.readings] == [False, True, False, False, False]
    assert "Row 2 of the log is damaged" in html_report(record)
    assert state.verdict.state != "open"
    lines = list(csv.DictReader(io.StringIO("".join(csv_export(pieces(database, 1))))))
    assert [(line["id"], line["reasons"]) for line in lines][1] == ("2", "unreadable_row")
    assert len(lines) == 5
    assert '"unreadable":true' in "".join(json_list(pieces(database, 1)))
    database.close()


@pytest.mark.parametrize(
    ("damage", "kept"),
    [("reading = 'x'", True), ("extras = '{'", False), ("extras = '{\"said\": 5}'", False), ("kind = 'none'", False)],
)
def test_a_photo_is_read_again_only_with_all_that_was_said_beside_it(sqlite_log, damage, kept):
    """Else a path or a dilution would be guessed, and its copper wrong without a word."""
    as_owner(sqlite_log, "UPDATE entries SET extras = '{\"path_mm\": 20.0}' WHERE id = 2")
    as_owner(sqlite_log, f"UPDATE entries SET {damage} WHERE id = 2")
    database = Database(sqlite_log.url)
    with database.read() as c:
        row = store.entries_of(c, 1)[1]
    database.close()
    assert row["unreadable"]
    assert rereadable(row) is kept
    assert not kept or row["extras"] == {"path_mm": 20.0}
