"""The stock vessel's silver over all batches: what errs alike adds up so, kept as notes are written, at a flat cost."""

from __future__ import annotations

import numpy as np
import pytest
from click.testing import CliRunner
from sqlalchemy import event, select, update

from service.bench.ledger.ledger import ledger_of
from service.cli import app
from service.log import store
from service.log.check.sums import sum_faults
from service.log.course.vessels import batch_ledger
from service.log.models import stock_parts, stock_total
from service.log.noted.stock_silver import recount_stock, shared_stock
from service.log.notes import Said, add_note
from service.log.timeline.amending import amend_note, undo_note, withdraw_note
from tests.ledger.test_flat import CHLORIDE

DECANT = {"name": "wash 1", "litres": 2.0, "looks": "cloudy", "chloride": 0.1}


def batches(c, count):
    numbers = [store.add_batch(c, f"batch {n}") for n in range(count)]
    for number in numbers:
        add_note(c, number, "weight", CHLORIDE)
        add_note(c, number, "decant", DECANT)
    return numbers


def rows(c):
    return {row.batch_id: row.silver for row in c.execute(select(stock_parts))}, c.execute(select(stock_total)).all()


def width(span):
    return span[2] - span[0]


def test_fines_misjudged_alike_in_four_batches_err_together(log):
    """The same decant in each: the sum is four times one in its middle and in its width, not twice as in chance."""
    with log.write() as c:
        numbers = batches(c, 4)
        one = batch_ledger(c, numbers[0]).vessel("stock").silver_g
        found = shared_stock(c)
    assert found.batches == 4
    assert found.silver_g == pytest.approx([4.0 * end for end in one], rel=1e-6)
    assert "by the notes of 4 batches" in found.sentence


def test_a_scales_own_error_does_not(log):
    """Silver known by two scales, each right to a gram: the sum's range is wider by the root of two, not by two."""
    with log.write() as c:
        numbers = [store.add_batch(c, name) for name in "ab"]
        for number in numbers:
            add_note(c, number, "named_vessel", {"vessel": "pot", "tare_g": 10.0})
            add_note(c, number, "vessel_holds", {"vessel": "pot", "litres": 1.0, "silver": [0.0, 100.0]})
            said = {"vessel": "pot", "grams": 50.0, "net": True, "form": "metal", "moisture": [0, 0], "scale_g": 1.0}
            add_note(c, number, "vessel_weighed", said)
            add_note(c, number, "poured", {"what": "all of the pot", "litres": 1.0, "vessel": "pot", "ph": 7.0})
        one = batch_ledger(c, numbers[0]).vessel("stock").silver_g
        both = shared_stock(c).silver_g
    assert both[1] == pytest.approx(2.0 * one[1], rel=0.01)
    assert width(both) == pytest.approx(2.0**0.5 * width(one), rel=0.15)


def test_it_is_one_row_however_many_batches_there_are(log):
    def asked():
        seen = []
        with log.read() as c:
            event.listen(c, "before_cursor_execute", lambda *said: seen.append(said[2]))
            shared_stock(c)
        return len(seen)

    with log.write() as c:
        batches(c, 1)
    few = asked()
    with log.write() as c:
        batches(c, 9)
    assert asked() == few


def test_corrected_withdrawn_handed_over_and_undone_it_stays_true(log):
    with log.write() as c:
        one, two, three = batches(c, 3)
        kept = rows(c)
        recount_stock(c)
        again = rows(c)
        assert again[0] == kept[0]
        assert list(sum_faults(c)) == []
        decant = add_note(c, one, "decant", {**DECANT, "name": "wash 2"})
        more = shared_stock(c).silver_g[1]
        amend_note(c, one, decant.id, {"litres": 4.0}, Said(why="misread", who="M."))
        assert shared_stock(c).silver_g[1] == pytest.approx(more * 5.0 / 4.0, rel=0.02)
        withdraw_note(c, one, decant.id, Said(why="another batch's"))
        assert shared_stock(c).silver_g[1] == pytest.approx(more * 3.0 / 4.0, rel=0.02)
        gone = add_note(c, two, "emptied", {"what": "6 L"})
        assert shared_stock(c) is None
        assert rows(c) == ({}, [])
        add_note(c, three, "decant", {**DECANT, "name": "after"})
        assert shared_stock(c).batches == 1
        withdraw_note(c, two, gone.id, Said(why="it stands here still"))
        whole = shared_stock(c)
        assert whole.batches == 3
        assert whole.silver_g[1] == pytest.approx(more, rel=0.02)
        undo_note(c, two, gone.id, Said(why="it was taken"))
        assert shared_stock(c).batches == 1


def test_a_sum_that_is_wrong_is_seen_by_the_check(log):
    with log.write() as c:
        batches(c, 2)
        c.execute(update(stock_total).values(silver=np.full(2000, 9.0).tobytes()))
        assert any("log recount" in fault for fault in sum_faults(c))
        c.execute(update(stock_total).values(silver=b"x"))
        assert any("log recount" in fault for fault in sum_faults(c))
        recount_stock(c)
        assert list(sum_faults(c)) == []


def test_an_older_log_gets_its_sum_and_the_command_says_it(log, tmp_path):
    with log.write() as c:
        one = batches(c, 2)[0]
        add_note(c, one, "poured", {"what": "washes", "litres": 2.0, "ph": 1.5})
        c.execute(stock_parts.delete())
        c.execute(stock_total.delete())
    done = CliRunner().invoke(app, ["log", "recount", "--data", str(tmp_path)])
    assert done.exit_code == 0, done.output
    told = CliRunner().invoke(app, ["batch", "stock", "--data", str(tmp_path)])
    assert "by the notes of 2 batches" in told.output


def test_the_ledgers_own_range_is_that_of_its_draws(log):
    with log.write() as c:
        number = batches(c, 1)[0]
        found = batch_ledger(c, number)
    assert np.quantile(found.stock, 0.5) == pytest.approx(found.vessel("stock").silver_g[1])
    assert ledger_of([]).stock.max() == 0.0
