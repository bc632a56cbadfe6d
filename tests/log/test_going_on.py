"""A check that was stopped goes on from where it was; its position counts for the chain alone that it was made on."""

from __future__ import annotations

import json

import pytest
from sqlalchemy import create_engine, text

from service.cli import main
from service.log import store
from service.log.chain import walk as chain_walk
from service.log.check import check_log, going_on, whole
from service.log.database import Database
from tests.log.conftest import add_reading
from tests.log.test_tampering import as_owner


class StoppedError(Exception):
    """As Ctrl-C would."""


@pytest.fixture(autouse=True)
def small_pieces(monkeypatch):
    monkeypatch.setattr(chain_walk, "AT_ONCE", 4)
    monkeypatch.setattr(going_on, "EVERY_S", 0.0)


@pytest.fixture
def check(sqlite_log):
    """Check the small log, stopped after so many links if asked; gives what was found and the rows looked at."""

    def checking(stop_after=None, *, of="rows", anew=False):
        seen = []

        def progress(part, done, total):
            assert 0 < done <= total
            if part == "rows" == of and stop_after is not None and done >= stop_after:
                raise StoppedError
            if part == "photos" == of and stop_after is not None and done >= stop_after:
                raise StoppedError

        plain = whole.row_fault

        def noted(table, row):
            seen.append((table, next(iter(row.values()))))
            return plain(table, row)

        database = Database(sqlite_log.url, read_only=True)
        kept = sqlite_log.data / going_on.NAME
        try:
            with pytest.MonkeyPatch.context() as patch:
                patch.setattr(whole, "row_fault", noted)
                return check_log(database, sqlite_log.data, keep=kept, anew=anew, progress=progress), seen
        except StoppedError:
            return None, seen
        finally:
            database.close()

    return checking


def test_it_goes_on_from_the_link_where_it_was_stopped(check, sqlite_log):
    whole_one, every = check()
    assert (whole_one.faults, whole_one.resumed) == ((), None)
    assert not (sqlite_log.data / going_on.NAME).exists()
    none, first = check(9)
    assert none is None
    assert json.loads((sqlite_log.data / going_on.NAME).read_text())["link"] == 12  # pieces of four links
    found, rest = check()
    assert found.faults == ()
    assert found.resumed is not None
    assert found.chain.head == whole_one.chain.head
    assert (found.chain.holds_to, found.chain.began) == (whole_one.chain.holds_to, whole_one.chain.began)
    assert [row for row in first + rest if row[0] != "batches"] == [row for row in every if row[0] != "batches"]
    assert len(rest) < len(every)
    assert check()[0].resumed is None  # it came to its end: the next one begins anew


def test_what_was_found_before_it_was_stopped_is_told(check, sqlite_log):
    as_owner(sqlite_log, "UPDATE entries SET note = 'other' WHERE id = 1")
    assert check(15)[0] is None
    as_owner(sqlite_log, "UPDATE entries SET note = 'other' WHERE id = 5")
    found, _ = check()
    of_rows = {fault for fault in found.faults if not fault.startswith("the search's words")}  # theirs are counted last
    assert of_rows == {"entry 1 is not what it was", "entry 5 is not what it was"}


def test_it_begins_anew_where_the_chain_is_another_one_or_it_is_told_to(check, sqlite_log):
    check(9)
    kept = sqlite_log.data / going_on.NAME
    said = json.loads(kept.read_text())
    for wrong in (json.dumps({**said, "hash": "0" * 64}), json.dumps({**said, "link": 999}), "{", "[]", ""):
        kept.write_text(wrong)
        assert check()[0].resumed is None
    kept.write_text(json.dumps(said))
    assert check(anew=True)[0].resumed is None
    kept.write_text(json.dumps(said))
    engine = create_engine(sqlite_log.url)
    with engine.begin() as c:
        c.execute(text("DROP TRIGGER chain_no_update"))
        c.execute(text("UPDATE chain SET link = content WHERE n = 12"))
    engine.dispose()
    found, _ = check()
    assert found.resumed is None
    assert any("does not follow" in fault for fault in found.faults)


def test_a_row_added_or_taken_away_before_the_place_is_still_seen(check, sqlite_log):
    check(15)
    as_owner(sqlite_log, "DELETE FROM chain WHERE what = 'entries' AND row_key = '1'")
    found, _ = check()
    assert found.resumed is not None
    assert any("entry 1 has no link" in fault for fault in found.faults)


def test_photos_go_on_folder_by_folder_and_one_that_came_since_is_looked_at(check, sqlite_log):
    none, _ = check(200, of="photos")
    assert none is None
    assert json.loads((sqlite_log.data / going_on.NAME).read_text())["folders"] == 200
    database = Database(sqlite_log.url)
    number = 0
    with database.write() as c:
        while True:  # a photo whose folder was looked at
            number += 1
            added = add_reading(c, sqlite_log.data, 1, 4.0, note=f"since {number}")
            sha256 = store.entry(c, added)["photo_sha256"]
            if sha256 < "c8":
                break
    database.close()
    (sqlite_log.data / "photos" / sha256[:2] / sha256).unlink()
    found, _ = check()
    assert found.resumed is not None
    assert f"photo {sha256} is missing" in found.faults


def test_the_command_says_that_it_went_on(check, sqlite_log, capsys):
    check(9)
    for more, went_on in (([], True), ([], False), (["--anew"], False)):
        with pytest.raises(SystemExit) as stop:
            main(["log", "check", "--data", str(sqlite_log.data), *more])
        assert stop.value.code == 0
        assert ("went on from where the check of" in capsys.readouterr().out) is went_on
