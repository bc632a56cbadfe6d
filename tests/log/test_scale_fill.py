"""A log filled in bulk is one that the store itself could have written: whole, of the wanted size, and it goes on."""

import pytest
from sqlalchemy import create_engine, text

from service.log import store
from service.log.check import check_log
from service.log.course.state import batch_state
from service.log.database import Database
from service.log.noted.vessel import stock_now
from service.log.notes import notes_of
from tests.scale.fill import Filler


@pytest.mark.parametrize("where", ["sqlite", pytest.param("postgres", marks=pytest.mark.slow)])
def test_a_filled_log_is_whole_and_goes_on(tmp_path, request, where):
    url = f"sqlite:///{tmp_path / 'log.sqlite3'}"
    if where == "postgres":
        server = request.getfixturevalue("postgres")
        engine = create_engine(server, isolation_level="AUTOCOMMIT")
        with engine.connect() as c:
            c.execute(text("DROP DATABASE IF EXISTS filled"))
            c.execute(text("CREATE DATABASE filled"))
        engine.dispose()
        url = server.replace("/bench", "/filled")
    made = Filler(tmp_path, url, photos=True).fill(150, 28)
    assert made["entries"] == 150
    database = Database(url)
    with database.write() as c:
        added = store.add_batch(c, "one more")
        rows = store.all_batches(c)
        assert added == made["batches"] + 1 == len(rows)
        assert sum(row["entries"] for row in rows) == 150
        assert any(row["closed_at"] for row in rows)
        closed = next(row["id"] for row in rows if row["closed_at"])
        assert batch_state(c, closed).stage.id == "melt"
        assert {"weight", "decant", "poured", "move"} <= {note.kind for note in notes_of(c, closed)}
        assert stock_now(c).litres > 0
        assert any(row["corrects_id"] for n in rows for row in store.entries_of(c, n["id"]))
    found = check_log(database, tmp_path)
    database.close()
    assert found.faults == ()
    assert (found.entries, found.orphans, found.strays) == (150, (), ())
