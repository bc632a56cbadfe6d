"""Every way to tamper that is listed is found by the check, even where the guards were put back afterwards."""

from __future__ import annotations

import pytest
from sqlalchemy import create_engine, inspect, text

from service.log.chain.guards import postgres_guards, sqlite_guards
from service.log.chain.links import append, begin
from service.log.check import check_log
from service.log.database import Database
from service.log.models import metadata
from service.log.search_words.recount import recount_words
from tests.log.tampering import FILES, ROWS


def checked(log, asked=None):
    database = Database(log.url, read_only=True)
    try:
        return check_log(database, log.data, asked)
    finally:
        database.close()


def as_owner(log, *statements):
    """Run SQL with every guard off, and put them back, as somebody would who covers his tracks."""
    engine = create_engine(log.url)
    with engine.begin() as c:
        guards_off(c)
        for statement in statements:
            c.execute(text(statement.replace(":", "\\:")))
        guards_on(c)
    engine.dispose()


def guards_off(c):
    if c.dialect.name == "sqlite":
        for name in sqlite_guards():
            c.exec_driver_sql(f"DROP TRIGGER {name}")
    else:
        c.execute(text("SET session_replication_role = replica"))
        for table, name in postgres_guards():
            c.execute(text(f"ALTER TABLE {table} DISABLE TRIGGER {name}"))


def guards_on(c):
    there = inspect(c).get_table_names()
    if c.dialect.name == "sqlite":
        for name, words in sqlite_guards().items():
            if name.rpartition("_no_")[0] in there:
                c.exec_driver_sql(words)
    else:
        for table, name in postgres_guards():
            if table in there:
                c.execute(text(f"ALTER TABLE {table} ENABLE ALWAYS TRIGGER {name}"))


def test_untouched_it_is_whole(log):
    found = checked(log)
    assert (found.faults, found.orphans, found.unfinished, found.strays) == ((), (), (), ())
    assert (found.entries, found.photos) == (5, 4)
    assert found.chain.holds_to == found.chain.links


def test_guards_off_and_on_again_is_no_fault(log):
    as_owner(log)
    assert checked(log).whole


def _on_both():
    """Each on SQLite; on PostgreSQL each fifth, and all of them where somebody asks for the thorough ones."""
    for place, name in enumerate(ROWS):
        yield pytest.param("sqlite_log", name)
        yield pytest.param("postgres_log", name, marks=[pytest.mark.thorough] if place % 5 else [pytest.mark.slow])


@pytest.mark.parametrize(("kind", "name"), [*_on_both()])
def test_tampering_with_rows_is_found(request, kind, name):
    log = request.getfixturevalue(kind)
    way = ROWS[name]
    filled = [statement.format(note=log.note) if "{" in statement else statement for statement in _safe(way.statements)]
    as_owner(log, *filled)
    found = checked(log)
    assert not found.whole
    assert any(way.found.format(note=log.note) in fault for fault in found.faults), found.faults


def _safe(statements):
    return [s if "{note}" in s or "{{" in s else s.replace("{", "{{").replace("}", "}}") for s in statements]


@pytest.mark.parametrize("name", FILES)
def test_tampering_with_files_is_found(sqlite_log, name):
    FILES[name].act(sqlite_log.data)
    found = checked(sqlite_log)
    assert any(FILES[name].found in line for line in (*found.faults, *found.strays)), found


@pytest.mark.parametrize("name", sqlite_guards())
def test_a_guard_that_is_missing_is_found(sqlite_log, name):
    _run(sqlite_log, f"DROP TRIGGER {name}")
    assert checked(sqlite_log).faults == (f"guard {name} is missing",)


def test_a_guard_that_was_changed_is_found(sqlite_log):
    changed = sqlite_guards()["entries_no_update"].replace("BEGIN", "WHEN OLD.id > 1000000 BEGIN", 1)
    _run(sqlite_log, "DROP TRIGGER entries_no_update", changed)
    assert checked(sqlite_log).faults == ("guard entries_no_update was changed",)


def test_a_trigger_of_somebody_else_is_found(sqlite_log):
    _run(sqlite_log, "CREATE TRIGGER mine AFTER INSERT ON entries BEGIN SELECT 1; END")
    assert checked(sqlite_log).faults == ("guard mine is not the log's own",)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("statement", "fault"),
    [
        ("DROP TRIGGER entries_stay ON entries", "guard entries.entries_stay is missing"),
        ("ALTER TABLE events DISABLE TRIGGER events_stay", "guard events.events_stay was changed"),
        ("ALTER TABLE keys ENABLE REPLICA TRIGGER keys_whole", "guard keys.keys_whole was changed"),
        ("CREATE RULE mine AS ON DELETE TO photos DO INSTEAD NOTHING", "rule mine on photos is not the log's own"),
        (
            "CREATE OR REPLACE FUNCTION log_stays() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RETURN NEW; END $$",
            "guard chain.chain_stay was changed",
        ),
    ],
)
def test_guards_of_postgres_are_checked(postgres_log, statement, fault):
    _run(postgres_log, statement)
    assert fault in checked(postgres_log).faults


def test_a_printed_head_is_found_in_the_chain(log):
    found = checked(log, log.head[:20])
    assert found.whole
    assert 1 < found.chain.asked_link < found.chain.links
    other = checked(log, "0" * 20)
    assert other.chain.asked_link is None
    assert any("is not in this log's chain" in fault for fault in other.faults)


def test_a_chain_that_was_made_anew_contradicts_the_printed_head(log):
    """Somebody who rewrites all of it passes the check, until a report is held against it."""
    engine = create_engine(log.url)
    with engine.begin() as c:
        guards_off(c)
        c.execute(text("UPDATE entries SET note = 'forged' WHERE id = 2"))
        mark = {"at": "2026-05-12T10:00:00+00:00", "log": "0" * 32, "taken_up": 0}
        c.execute(text("DELETE FROM chain"))
        begin(c, mark, ())
        for table in ("batches", "profiles", "photos", "events", "entries", "keys"):
            append(c, [(table, dict(row)) for row in c.execute(metadata.tables[table].select()).mappings()])
        recount_words(c)
        guards_on(c)
    engine.dispose()
    assert checked(log).whole
    assert any("is not in this log's chain" in fault for fault in checked(log, log.head).faults)


def test_a_cut_off_end_is_found(sqlite_log):
    """By SQLite's own counter; where that is put back, too, only a printed head tells."""
    last = "what = 'entries' AND row_key = '5'"
    as_owner(
        sqlite_log,
        "DELETE FROM photos WHERE sha256 = (SELECT photo_sha256 FROM entries WHERE id = 5)",
        "DELETE FROM entries WHERE id = 5",
        "DELETE FROM events WHERE id = (SELECT max(id) FROM events)",
        "DELETE FROM batches WHERE id = 3",
        f"DELETE FROM chain WHERE n >= (SELECT n FROM chain WHERE {last}) - 1",
    )
    assert "entries: the newest is number 4, but the database has given number 5" in checked(sqlite_log).faults


@pytest.mark.parametrize(
    "statement",
    [
        "DELETE FROM {table}",
        "UPDATE {table} SET {key} = {key}",
        "INSERT OR REPLACE INTO {table} SELECT * FROM {table}",
        "INSERT OR REPLACE INTO {table} SELECT * FROM {table} LIMIT 1",
    ],
)
@pytest.mark.parametrize(
    ("table", "key"),
    [("entries", "note"), ("events", "what"), ("photos", "size"), ("profiles", "text"), ("keys", "at"), ("chain", "n"),
     ("batches", "opened_at")],
)  # fmt: skip
def test_sqlite_itself_refuses(sqlite_log, table, key, statement):
    with pytest.raises(Exception, match="never changed or deleted"):
        _run(sqlite_log, statement.format(table=table, key=key))
    assert checked(sqlite_log).whole


def test_a_row_number_that_is_taken_replaces_nothing(sqlite_log):
    statement = "INSERT OR REPLACE INTO photos (rowid, sha256, size, first_at) VALUES (1, 'f', 1, 'now')"
    with pytest.raises(Exception, match="never changed or deleted"):
        _run(sqlite_log, statement)


@pytest.mark.slow
@pytest.mark.parametrize(
    "statement",
    ["DELETE FROM {table}", "TRUNCATE {table} CASCADE", "SET session_replication_role = replica; DELETE FROM {table}"],
)
def test_postgres_itself_refuses(postgres_log, statement):
    for table in ("entries", "events", "photos", "profiles", "keys", "chain", "batches"):
        with pytest.raises(Exception, match="never changed or deleted"):
            _run(postgres_log, statement.format(table=table))
    assert checked(postgres_log).whole


@pytest.mark.slow
def test_postgres_replaces_nothing_by_a_conflict(postgres_log):
    statement = "INSERT INTO photos SELECT * FROM photos ON CONFLICT (sha256) DO UPDATE SET size = EXCLUDED.size"
    with pytest.raises(Exception, match="never changed or deleted"):
        _run(postgres_log, statement)


def _run(log, *statements):
    engine = create_engine(log.url)
    try:
        with engine.begin() as c:
            for statement in statements:
                c.exec_driver_sql(statement)
    finally:
        engine.dispose()
