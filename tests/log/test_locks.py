"""Who waits for whom in PostgreSQL: writers of two batches look beside each other, and add one after the other."""

from __future__ import annotations

import threading
import time
from concurrent.futures import ThreadPoolExecutor
from types import SimpleNamespace

import pytest
from sqlalchemy import func, select
from sqlalchemy.exc import DBAPIError

from service.bench.vessel.hazards import PouringStopped
from service.log import store
from service.log.chain.locks import one_of_batch, one_of_vessel, one_writer
from service.log.chain.walk import walk
from service.log.database import Database
from service.log.models import chain, entries, events, photos
from service.log.noted.vessel import stock_now
from service.log.notes import add_note
from tests.log.conftest import add_reading


def test_sqlite_needs_no_lock_of_its_own():
    """It has one writer from a transaction's beginning: no such statement is sent, which it would not know."""
    other = SimpleNamespace(dialect=SimpleNamespace(name="sqlite"))
    one_writer(other)
    one_of_batch(other, 1)
    one_of_vessel(other)


def test_the_chain_is_asked_for_once_in_a_transaction():
    asked, now = [], object()
    c = SimpleNamespace(dialect=SimpleNamespace(name="postgresql"), info={}, get_transaction=lambda: now)
    c.execute = lambda statement, values: asked.append(values)
    one_writer(c)
    one_writer(c)
    assert len(asked) == 1
    now = object()  # the connection's next transaction holds nothing yet
    one_writer(c)
    assert len(asked) == 2


@pytest.fixture
def database(postgres_log):
    made = Database(postgres_log.url, wait=3.0)
    yield made
    made.close()


@pytest.mark.slow
def test_who_thinks_about_one_batch_holds_up_no_other(database, postgres_log):
    with database.write() as thinking:
        one_of_batch(thinking, 1)
        began = time.monotonic()
        with database.write() as c:
            one_of_batch(c, 3)
            add_reading(c, postgres_log.data, 3, 5.0, note="beside")
        assert time.monotonic() - began < 2.0
        with pytest.raises(DBAPIError), database.write() as c:  # the same batch waits, and gives up in time
            one_of_batch(c, 1)
        assert time.monotonic() - began < 6.0
        add_note(thinking, 1, "used", {"what": "soda", "grams": 3.0})
    with database.snapshot() as c:
        assert walk(c).faults == ()


@pytest.mark.slow
def test_writers_of_many_batches_make_one_chain_in_the_order_of_their_numbers(database, postgres_log):
    with database.write() as c:
        numbers = [store.add_batch(c, f"bench {n}") for n in range(6)]

    def work(batch):
        for n in range(8):
            with database.write() as c:
                one_of_batch(c, batch)
                # every second photo is the same one on all benches at once: its row is there once
                note = "the same" if n % 2 else f"{batch}"
                add_reading(c, postgres_log.data, batch, 5.0 + n / 100, note=note)
            with database.write() as c:
                add_note(c, batch, "poured", {"what": f"wash {n} of {batch}", "litres": 0.5, "ph": 5.0})

    with ThreadPoolExecutor(6) as benches:
        list(benches.map(work, numbers))
    with database.snapshot() as c:
        found = walk(c)
        assert found.faults == ()
        for table, name in ((entries, "entries"), (events, "events")):
            order = c.execute(select(table.c.id).order_by(table.c.id)).scalars().all()
            linked = c.execute(select(chain.c.row_key).where(chain.c.what == name).order_by(chain.c.n)).scalars().all()
            assert [int(key) for key in linked] == list(order)
        assert c.execute(select(func.count()).select_from(photos)).scalar_one() == 4 + 6 * 4 + 4
        assert stock_now(c).litres == pytest.approx(6 * 8 * 0.5)


@pytest.mark.slow
def test_of_two_dangerous_pourings_at_once_one_is_stopped(database):
    """Each is harmless by itself: who looks second has to see what the first one poured."""
    barrier, stopped = threading.Barrier(2), []

    def pour(batch, what):
        with database.write() as c:
            barrier.wait()
            try:
                add_note(c, batch, "poured", what)
            except PouringStopped:
                stopped.append(batch)

    bleach = {"what": "bleach", "litres": 1.0, "contents": ["bleach"]}
    acid = {"what": "wash", "litres": 1.0, "ph": 0.5}
    threads = [threading.Thread(target=pour, args=(1, bleach)), threading.Thread(target=pour, args=(3, acid))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(stopped) == 1
