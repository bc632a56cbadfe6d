"""The chain itself: its hashes by hand, one writer at a time, older logs taken up, later ones left alone."""

from __future__ import annotations

import hashlib
import threading

import pytest

from service.cli import main
from service.log import store
from service.log.chain.links import GROWS, KEY, content_hash, head, link_hash
from service.log.chain.walk import walk
from service.log.check import check_log
from service.log.database import Database
from service.log.models import metadata
from service.report.html import html_report
from stripread.errors import CallError
from tests.clean_logs import checked_log
from tests.clean_logs import main as clean_logs
from tests.log.conftest import make_base
from tests.log.made_logs import as_older_form, made_log


def test_a_hash_is_what_sha256sum_gives_for_the_canonical_text():
    """SHA-256 of FIPS 180-4; the text is sorted and without spaces as RFC 8785 has it, no value and no column."""
    text = '["keys",{"at":"2026","entry_id":7,"key":"塩\\n\\"","low":"0.30000000000000004"}]'
    row = {"low": 0.1 + 0.2, "key": '塩\n"', "entry_id": 7, "at": "2026", "wash": None}
    assert content_hash("keys", row) == hashlib.sha256(text.encode()).hexdigest()
    link = f'[3,"keys","k","{"a" * 64}","{"b" * 64}"]'
    assert link_hash(3, "keys", "k", "a" * 64, "b" * 64) == hashlib.sha256(link.encode()).hexdigest()


def test_every_table_is_in_the_chain_but_what_proves_nothing():
    aside = {
        "phones",
        "photo_phones",
        "batch_stages",
        "batch_sums",
        "vessel_sums",
        "lot_links",
        "stock_parts",
        "stock_total",
        "search_rows",
        "search_ends",
    }
    calibrating = {"calibrations", "calibration_photos", "calibration_runs"}
    calibrating |= {"profile_versions", "profile_choices", "profile_checks"}
    benches = {"benches", "batch_benches", "bench_profiles", "bench_secrets"}  # a batch's events say whose it is
    assert set(metadata.tables) - set(KEY) == {"chain", "sessions", *aside, *calibrating, *benches}
    assert set(KEY) - set(GROWS) == {"batches"}


def test_clean_logs_are_not_blamed():
    assert clean_logs(3, 9) == 0  # number 10 is taken up from the older form


def test_an_older_log_is_taken_up_with_a_mark(tmp_path):
    made = made_log(tmp_path / "data", 4)
    older = as_older_form(made, tmp_path / "older.sqlite3")
    made.database.close()
    assert any("the older form 0001" in fault for fault in check_log(older, tmp_path / "data").faults)
    older.migrate()
    found = check_log(older, tmp_path / "data")
    assert found.faults == ()
    zones = 2 * len(_batches(older))  # a later step: each batch's state and event
    assert found.chain.taken_up == found.chain.links - 1 - zones > 20
    with older.write() as c:
        store.add_batch(c, "one more")
    assert check_log(older, tmp_path / "data").chain.links == found.chain.links + 2
    older.close()


def test_a_later_form_is_left_alone(sqlite_log, capsys):
    database = Database(sqlite_log.url)
    with database.write() as c:
        c.exec_driver_sql("UPDATE alembic_version SET version_num = '0999'")
    with pytest.raises(CallError, match="of a later stripread"):
        database.migrate()
    database.close()
    assert _run("batch", "new", "b", "--data", str(sqlite_log.data)) == 2
    assert "of a later stripread" in capsys.readouterr().err


def test_writers_at_once_make_one_chain(log):
    """Two programs, each with its own engine, as a service and a command beside it."""

    def write(database):
        for place in range(12):
            with database.write() as c:
                store.add_batch(c, f"of {threading.get_ident()}, {place}")

    programs = [Database(log.url, wait=30) for _ in range(2)]
    threads = [threading.Thread(target=write, args=(database,)) for database in programs]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with programs[0].snapshot() as c:
        found = walk(c)
    for database in programs:
        database.close()
    assert found.faults == ()
    assert found.head.n == found.holds_to > 48


def test_what_is_taken_back_leaves_no_link(sqlite_log):
    database = Database(sqlite_log.url)
    with database.write() as c:
        store.add_batch(c, "never")
        c.rollback()
    found = check_log(database, sqlite_log.data)
    database.close()
    assert found.faults == ()


def test_the_head_stands_in_the_report_and_the_check_knows_it(sqlite_log, tmp_path, capsys):
    from service.log.report_source import batch_record

    database = Database(sqlite_log.url)
    with database.read() as c:
        record, newest = batch_record(c, 1, {}), head(c)
    database.close()
    groups = " ".join(newest.link[place : place + 8] for place in range(0, 64, 8))
    assert f"link {newest.n}, {groups}" in html_report(record)
    assert record.chain == (newest.n, newest.link)
    where = ("--data", str(sqlite_log.data))
    assert _run("log", "check", *where, "--head", groups[:26].upper()) == 0
    shown = capsys.readouterr().out
    assert f"is link {newest.n}: up to there" in shown
    assert f"head: {newest.link}" in shown
    assert _run("log", "check", *where, "--head", "0123456789abcdef0") == 1
    assert "is not in this log's chain" in capsys.readouterr().out
    assert _run("log", "check", *where, "--head", "abc") == 2
    assert _run("batch", "report", "1", *where, "--out", str(tmp_path / "b.pdf")) == 0


def test_the_check_names_who_began_it(tmp_path, capsys):
    base = make_base(tmp_path / "data", f"sqlite:///{tmp_path / 'data' / 'log.sqlite3'}")
    assert _run("log", "check", "--data", str(base.data)) == 0
    assert "5 entries, 4 photos: whole\nchain: " in capsys.readouterr().out


def test_a_log_of_one_seed_is_the_same_course(tmp_path):
    found = [checked_log(tmp_path / name, 12) for name in ("a", "b")]
    assert found[0].entries == found[1].entries > 0
    assert found[0].chain.head != found[1].chain.head  # each log has a name of its own in its mark


def _batches(database):
    with database.read() as c:
        return store.all_batches(c)


def _run(*args):
    with pytest.raises(SystemExit) as stop:
        main(list(args))
    return stop.value.code
