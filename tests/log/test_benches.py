"""Benches in the log: an older log gets none, a back-up holds no token, a long list costs a bench its own alone."""

from __future__ import annotations

from contextlib import closing

import pytest
from sqlalchemy import event, select, text

from service.log import store
from service.log.archive.backup import prepare
from service.log.archive.whole_file import write_whole
from service.log.aside.sums import count_all
from service.log.benches.asking import asking, asks, own_key
from service.log.benches.owners import wrong_owners
from service.log.benches.rows import add_bench
from service.log.benches.secrets import add_link, add_token, hashed
from service.log.check import check_log
from service.log.course.reminders import reminders_now
from service.log.database import Database
from service.log.models import bench_secrets, benches, now, sessions
from service.log.noted.vessel import keep_due
from tests.log.conftest import add_reading
from tests.log.made_logs import as_older_form, made_log


def filled(log, name, batches=1):
    """A bench with so many batches."""
    with log.write() as c:
        bench = add_bench(c, name, ()).id
        with asking(bench):
            return bench, [store.add_batch(c, f"{name} {n}") for n in range(batches)]


@pytest.fixture
def log(tmp_path):
    with closing(Database(f"sqlite:///{tmp_path / 'log.sqlite3'}")) as made:
        made.migrate()
        yield made


@pytest.mark.parametrize("where", ["sqlite", pytest.param("postgres", marks=(pytest.mark.slow, pytest.mark.thorough))])
def test_an_older_log_stays_one_bench_s_and_keeps_its_phones(tmp_path, request, where):
    url = f"sqlite:///{tmp_path / 'older.sqlite3'}"
    if where == "postgres":
        url = request.getfixturevalue("postgres")
        with closing(Database(url)) as server, server.engine.connect() as c:
            c.execution_options(isolation_level="AUTOCOMMIT").execute(text("CREATE DATABASE older_benches"))
        url = url.rpartition("/")[0] + "/older_benches"
    made = made_log(tmp_path / "data", 4, steps_taken=20)
    with closing(as_older_form(made, tmp_path / "older.sqlite3", "0008", url)) as older:
        with older.write() as c:
            paired = f"INSERT INTO sessions (secret_sha256, device, paired_at) VALUES ('{'a' * 64}', 'x', '{now()}')"
            c.execute(text(paired))
            c.execute(text("DELETE FROM batch_sums"))
            count_all(c)  # the rows were put in past the store, which counts and adds up as it writes
            keep_due(c)
        older.migrate()
        assert check_log(older, made.data).faults == ()
        with older.read() as c:
            assert [(row.device, row.bench_id) for row in c.execute(select(sessions))] == [("x", None)]
            assert c.execute(select(benches)).first() is None
            assert {batch["bench"] for batch in store.all_batches(c)} == {None}
    made.database.close()


def test_what_a_bench_may_not_see_is_not_there(log, tmp_path):
    with log.write() as c:
        of_keeper = store.add_batch(c, "the keeper's")
    (north, (one, two)), (south, (three,)) = filled(log, "north", 2), filled(log, "south")
    with log.write() as c:
        entry = add_reading(c, tmp_path, three, 5.0)
    with log.read() as c:
        for bench, own in ((north, [two, one]), (south, [three]), (None, [three, two, one, of_keeper])):
            with asking(bench):
                assert [batch["id"] for batch in store.all_batches(c)] == own
                assert [n for n in (of_keeper, one, two, three) if store.batch(c, n)] == sorted(own)
                assert (store.entry(c, entry) is not None) == (three in own)
                assert len(store.entries_of(c, three)) == (1 if three in own else 0)
                assert len(store.entries_numbered(c, three, [entry])) == (1 if three in own else 0)
                assert bool(store.batch_events(c, three)) == (three in own)
        assert store.open_batch(c) == of_keeper  # a watched folder's photos go to no bench, however new its batch is
        with asking(south):
            assert store.open_batch(c) == three
        assert asks() is None
        assert wrong_owners(c) == []


def test_a_page_of_a_bench_s_batches_is_walked_through_by_its_own_index(log):
    bench, own = filled(log, "north", 5)
    filled(log, "south", 5)
    plans = []

    def look(_c, cursor, statement, parameters, *_more):
        if statement.startswith("SELECT batches."):
            explained = cursor.connection.execute(f"EXPLAIN QUERY PLAN {statement}", parameters).fetchall()
            plans.append([row[3] for row in explained])

    event.listen(log.engine, "before_cursor_execute", look)
    with log.read() as c, asking(bench):
        page = store.all_batches(c, limit=2)
        rest = store.all_batches(c, after=page[-1]["id"], limit=9)
    assert [batch["id"] for batch in page + rest] == own[::-1]
    for plan in plans:  # SQLite's own words: sqlite.org/eqp.html
        assert plan[0].startswith("SEARCH own USING COVERING INDEX ix_batch_benches_bench (bench_id=?"), plan
        assert not any("TEMP B-TREE" in step or step.startswith("SCAN") for step in plan), plan
    assert len(plans) == 2


def test_keys_are_each_bench_s_own():
    with asking(3):
        third = own_key("k" * 200)
    assert own_key("k" * 200) == "k" * 200
    assert third.startswith("bench 3: ")
    assert len(third) <= 200


def test_reminders_are_looked_for_among_its_own(log):
    bench, own = filled(log, "north", 2)
    _, others = filled(log, "south", 1)
    asked = []
    with log.read() as c:
        event.listen(log.engine, "before_cursor_execute", lambda *said: asked.append((said[2], said[3])))
        with asking(bench):
            reminders_now(c)
    touched = [parameters for statement, parameters in asked if "FROM events" in statement and "LIMIT" in statement]
    assert set(own) <= set(touched[0])
    assert not set(others) & set(touched[0])


def test_a_back_up_holds_no_token(tmp_path):
    made = made_log(tmp_path / "data", 2, 10)
    with made.database.write() as c:
        bench = add_bench(c, "north", ()).id
        kept = [hashed(add_token(c, bench)), hashed(add_link(c, bench, joins=1, seconds=60))]
    with closing(prepare(f"sqlite:///{made.data / 'log.sqlite3'}", made.data, tmp_path / "beside")) as backup:
        write_whole(tmp_path / "b.tar", backup.pieces())
    inside = (tmp_path / "b.tar").read_bytes()
    there = b"".join(p.read_bytes() for p in made.data.glob("log.sqlite3*"))
    for secret in kept:
        assert secret.encode() in there
        assert secret.encode() not in inside
    assert b"north" in inside
    with made.database.read() as c:
        assert sorted(c.execute(select(bench_secrets.c.secret_sha256)).scalars()) == sorted(kept)
    made.database.close()
