"""A log moved to another database and back is the same log: every row, its head, and the numbers that come next."""

from __future__ import annotations

import fcntl

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import create_engine, inspect, select, text

from service.cli import main
from service.log import store
from service.log.archive import move as moving
from service.log.archive.move import move
from service.log.chain.guards import guard_faults
from service.log.check import check_log
from service.log.database import Database
from service.log.models import metadata
from service.log.notes import add_note
from stripread.errors import CallError
from tests.log.conftest import add_reading
from tests.log.made_logs import as_older_form, made_log
from tests.log.test_tampering import as_owner


@pytest.fixture
def empty(postgres):
    """The URL of an empty PostgreSQL database, which orders texts as English does: not as SQLite."""
    engine = create_engine(postgres, isolation_level="AUTOCOMMIT")
    with engine.connect() as c:
        c.execute(text("DROP DATABASE IF EXISTS moved WITH (FORCE)"))
        icu = "LOCALE_PROVIDER icu ICU_LOCALE 'en-US' TEMPLATE template0"
        version = int(c.execute(text("SHOW server_version_num")).scalar_one())
        c.execute(text(f"CREATE DATABASE moved {icu if version >= 150000 else ''}"))
    engine.dispose()
    return postgres.replace("/bench", "/moved")


def _every_row(url):
    database = Database(url)
    with database.read() as c:
        found = {
            name: sorted((tuple(row) for row in c.execute(select(table))), key=repr)
            for name, table in metadata.tables.items()
        }
    database.close()
    return found


def _run(*args):
    with pytest.raises(SystemExit) as stop:
        main([str(arg) for arg in args])
    return stop.value.code


@pytest.mark.slow
@pytest.mark.parametrize("seed", [3, 8])
def test_there_and_back_every_row_is_the_same(tmp_path, empty, seed, capsys):
    made = made_log(tmp_path / "data", seed, steps_taken=60)
    with made.database.write() as c:
        for key in ("b", "B", "a-b", "ab", "Ä", "a b", "_", "1", "10", "9"):
            store.add_key(c, (key, "f" * 64), 1)
    head = check_log(made.database, made.data).chain.head
    made.database.close()
    old, back = f"sqlite:///{made.data / 'log.sqlite3'}", f"sqlite:///{tmp_path / 'back.sqlite3'}"
    plain = empty.replace("postgresql+psycopg", "postgresql")  # as people write it
    assert _run("log", "move", "--from", old, "--to", plain) == 0
    said = capsys.readouterr().out
    assert f"head: {head}" in said
    rows = _every_row(old)
    assert f"{sum(len(some) for some in rows.values())} rows moved and compared" in said
    assert _every_row(empty) == rows
    there = Database(empty)
    assert check_log(there, made.data).faults == ()
    with there.read() as c:
        assert guard_faults(c) == []
    assert move(empty, back).head == head
    assert _every_row(back) == rows
    # It goes on with the next numbers, and stays whole.
    for database in (there, Database(back)):
        with database.write() as c:
            batch = store.add_batch(c, "one more")
            assert batch == len(rows["batches"]) + 1
            number = add_reading(c, made.data, batch, 5.0, note="after the move")
            assert number == len(rows["entries"]) + 1
            add_note(c, batch, "poured", {"what": "wash", "litres": 1.0, "ph": 3.0})
        assert check_log(database, made.data).faults == ()
        database.close()


def test_where_anything_is_wrong_nothing_is_left(sqlite_log, tmp_path, monkeypatch):
    new = f"sqlite:///{tmp_path / 'new.sqlite3'}"

    def nothing_left():
        engine = create_engine(new)
        assert inspect(engine).get_table_names() == []
        engine.dispose()

    with pytest.raises(CallError, match="the same database"):
        move(sqlite_log.url, sqlite_log.url)
    with pytest.raises(CallError, match="there is a log in the new database"):
        move(sqlite_log.url, _other(tmp_path))
    with (sqlite_log.data / "lock").open("wb") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        with pytest.raises(CallError, match="a service uses this log"):
            move(sqlite_log.url, new)
    plain = moving._rows

    def one_lost(c, table):
        for rows in plain(c, table):
            yield (
                [{**row, "note": "other"} for row in rows]
                if table.name == "entries" and c.engine.url.database == str(tmp_path / "new.sqlite3")
                else rows
            )

    with monkeypatch.context() as patch:
        patch.setattr(moving, "_rows", one_lost)
        with pytest.raises(CallError, match="entries: a row came out otherwise"):
            move(sqlite_log.url, new)
    nothing_left()
    as_owner(sqlite_log, "UPDATE entries SET note = 'n' WHERE id = 2")
    with pytest.raises(CallError, match="not whole: entry 2 is not what it was"):
        move(sqlite_log.url, new)
    nothing_left()
    as_owner(sqlite_log, "UPDATE alembic_version SET version_num = '0004'")
    with pytest.raises(CallError, match="has the form 0004"):
        move(sqlite_log.url, new)


def _other(tmp_path):
    made = made_log(tmp_path / "other", 1, steps_taken=3)
    made.database.close()
    return f"sqlite:///{tmp_path / 'other' / 'log.sqlite3'}"


@pytest.mark.parametrize(
    ("to", "said"), [("nonsense", "this is no database's URL"), ("postgresql://127.0.0.1:1/none", "nothing was moved")]
)
def test_the_command_says_in_a_sentence_why_nothing_was_moved(sqlite_log, capsys, to, said):
    assert _run("log", "move", "--from", sqlite_log.url, "--to", to) == 2
    shown = capsys.readouterr().err
    assert said in shown
    assert shown.count("\n") == 1


@pytest.mark.parametrize("where", ["sqlite", pytest.param("postgres", marks=pytest.mark.slow)])
def test_the_steps_lead_to_the_tables_that_the_program_has(tmp_path, request, where):
    """Else a log that was moved would differ from one that was migrated. By Alembic's own comparison."""
    url = f"sqlite:///{tmp_path / 'log.sqlite3'}" if where == "sqlite" else request.getfixturevalue("empty")
    database = Database(url)
    database.migrate()
    with database.read() as c:
        assert compare_metadata(MigrationContext.configure(c), metadata) == []
    database.close()


@pytest.mark.parametrize("form", ["0001", "0002", "0003", "0004", "0005"])
@pytest.mark.parametrize("where", ["sqlite", pytest.param("postgres", marks=pytest.mark.slow)])
def test_a_log_of_every_older_form_comes_up_with_all_its_rows(tmp_path, request, where, form):
    made = made_log(tmp_path / "data", 5, steps_taken=50)
    url = request.getfixturevalue("empty") if where == "postgres" else f"sqlite:///{tmp_path / 'older.sqlite3'}"
    older = as_older_form(made, tmp_path / "older.sqlite3", form, url)
    names = ("batches", "profiles", "photos", "events", "entries", "keys")
    before = _rows_of(older, names)
    older.migrate()
    older.migrate()  # once more changes nothing
    after = _rows_of(older, names)
    for name in names:
        kept = {row[0]: row for row in after[name]}
        for row in before[name]:
            assert kept[row[0]] == row or name == "batches"  # a batch got its zone
    assert check_log(older, made.data).faults == ()
    with older.read() as c, made.database.read() as known:
        counted = {row["id"]: row["entries"] for row in store.all_batches(c)}
        assert counted == {row["id"]: row["entries"] for row in store.all_batches(known)}
    with older.write() as c:
        add_reading(c, made.data, store.add_batch(c, "one more"), 5.0, note="after the steps")
    assert check_log(older, made.data).faults == ()
    older.close()
    made.database.close()


def _rows_of(database, names):
    with database.read() as c:
        return {name: [tuple(row) for row in c.execute(select(metadata.tables[name]))] for name in names}
