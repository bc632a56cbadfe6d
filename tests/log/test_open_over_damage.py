"""A gate that is open and a washing that is done are so no longer over a damaged row, reading or note."""

from __future__ import annotations

import hashlib

import pytest

from service.log import store
from service.log.course.forecast import forecast_now
from service.log.course.moving import choose_procedure
from service.log.course.state import batch_state
from service.log.database import Database
from service.log.noted.vessel import poured_now, stock_now
from service.log.notes import add_note
from stripread.errors import CallError
from tests.log.conftest import KEPT, BaseLog
from tests.log.test_tampering import as_owner


@pytest.fixture
def washed(tmp_path) -> BaseLog:
    """A batch in pure water whose last three washes read neutral, at the gate of its neutral wash."""
    log = BaseLog(tmp_path, f"sqlite:///{tmp_path / 'log.sqlite3'}", 0, "")
    database = Database(log.url)
    database.migrate()
    with database.write() as c:
        batch = store.add_batch(c, "washed")
        store.change_batch(c, batch, name=None, closed=None, details={"water": "pure"})
        choose_procedure(c, batch, "chloride_lye_sugar")
        add_note(c, batch, "move", {"to": "neutral-wash", "state": "open", "sentence": "made up"})
        add_note(c, batch, "poured", {"what": "wash 1", "litres": 1.0, "ph": 1.0})
        for wash, ph in enumerate((3.0, 4.0, 5.5, 6.7, 6.8, 6.8), 1):
            sha256 = hashlib.sha256(bytes([wash])).hexdigest()
            reading = {"photo": "a.jpg", "kind": "ph", "status": "ok", "ph": ph, "interval": [ph - 0.2, ph + 0.2]}
            reading |= {"reasons": [], "sha256": sha256, "software": "stripread 0.1.0", "seconds": 0.1, "pads": []}
            new = store.NewEntry(batch, "ph", "photo", sha256, 1, reading, wash=wash, profile=KEPT, extras={"said": {}})
            store.add_entry(c, new)
    database.close()
    return log


def _seen(log):
    database = Database(log.url)
    try:
        with database.read() as c:
            row = store.batch(c, 1)
            assert row is not None
            return batch_state(c, 1).verdict, forecast_now(c, row)
    finally:
        database.close()


def test_whole_it_is_open_and_done(washed):
    verdict, forecast = _seen(washed)
    assert (verdict.state, forecast.status) == ("open", "done"), verdict.sentence


@pytest.mark.parametrize("damage", ["extras = '{'", "reading = 'x'", "kind = 'none'"])
def test_over_a_damaged_reading_nobody_can_tell(washed, damage):
    as_owner(washed, f"UPDATE entries SET {damage} WHERE id = 2")
    verdict, forecast = _seen(washed)
    assert (verdict.state, forecast.status) == ("cannot tell", "cannot tell")
    assert "reading 2" in verdict.sentence
    assert "reading 2" in forecast.message


def test_damaged_details_hold_the_gate(washed):
    as_owner(washed, "UPDATE batches SET details = '{' WHERE id = 1")
    verdict, _ = _seen(washed)
    assert (verdict.state, "the batch's own details" in verdict.sentence) == ("cannot tell", True)


@pytest.mark.parametrize("damage", ["detail = '{'", "detail = '[]'", "what = 'bench:none'"])
def test_a_damaged_pouring_holds_gate_and_vessel_until_it_is_struck_and_written_again(washed, damage):
    as_owner(washed, f"UPDATE events SET {damage} WHERE what = 'bench:poured'")
    verdict, forecast = _seen(washed)
    assert (verdict.state, forecast.status) == ("cannot tell", "done")
    database = Database(washed.url)
    with database.write() as c:
        (poured, _more), held = poured_now(c), stock_now(c)
        lost = poured[0][1].id
        assert f"note {lost}" in verdict.sentence
        assert held.questions
        assert held.side == "unknown"
        with pytest.raises(CallError, match=f"note {lost}"):
            add_note(c, 1, "poured", {"what": "wash 2", "litres": 1.0, "ph": 4.0})
        add_note(c, 1, "strike", {"note": lost, "why": "damaged"})
        add_note(c, 1, "poured", {"what": "wash 1", "litres": 1.0, "ph": 1.0})
        held = stock_now(c)
        assert (held.questions, held.side) == ((), "acid")
        assert batch_state(c, 1).verdict.state == "open"
    database.close()
