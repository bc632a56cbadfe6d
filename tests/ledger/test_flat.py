"""The ledger in the log: what it costs beside a thousand other batches, and rows that are made anew."""

from __future__ import annotations

import pytest
from sqlalchemy import event, select

from service.log import store
from service.log.course.vessels import batch_ledger
from service.log.models import lot_links
from service.log.noted.links import notes_counting, recount_links
from service.log.notes import Said, add_note
from service.log.timeline.amending import undo_note, withdraw_note
from stripread.errors import CallError

CHLORIDE = {"of": "chloride", "grams": 100.0, "moisture": [0, 0.01]}


def lots(c, count):
    """Batches of a lot each, the second taking from the first."""
    numbers = [store.add_batch(c, f"batch {n}") for n in range(count)]
    for number in numbers:
        add_note(c, number, "weight", CHLORIDE)
    return numbers


def rows(c):
    return {row.event_id: tuple(row) for row in c.execute(select(lot_links))}


def asked(log, batch):
    """Statements that opening a ledger sends, and the rows that they bring."""
    seen = []
    with log.read() as c:
        event.listen(c, "before_cursor_execute", lambda *said: seen.append(said[2]))
        batch_ledger(c, batch)
    return len(seen)


def test_a_ledger_asks_no_other_batch(log):
    with log.write() as c:
        one, two = lots(c, 2)
        add_note(c, two, "moved", {"how": "merge", "vessel": "main", "from_batch": one, "into": "main"})
    few = asked(log, two)
    with log.write() as c:
        more = lots(c, 12)
        for number in more[1:]:
            add_note(c, number, "moved", {"how": "split", "from_batch": more[0], "share": [0.01, 0.02]})
    assert asked(log, two) == few
    assert asked(log, more[5]) == few  # one of many that took from the same lot


def test_what_a_batch_gives_goes_on_to_those_who_took_of_it(log):
    with log.write() as c:
        one, two, three = lots(c, 3)
        add_note(c, two, "moved", {"how": "merge", "vessel": "main", "from_batch": one, "into": "main"})
        third = add_note(c, three, "moved", {"how": "merge", "vessel": "main", "from_batch": two, "into": "main"})
        before = rows(c)[third.id]
        assert before[5] == pytest.approx(150.0, abs=1.5)  # both lots
        added = add_note(c, one, "weight", {**CHLORIDE, "grams": 50.0, "again": "adds"})
        assert rows(c)[third.id] == before  # it came after the merge, and stays in the first batch
        withdraw_note(c, one, added.id, Said(why="no"))
        out = notes_counting(c, one)[0].id  # the first lot's own weight
        withdraw_note(c, one, out, Said(why="another batch's"))
        assert rows(c)[third.id][5] == pytest.approx(75.0, abs=1.0)
        undo_note(c, one, out, Said(why="it was this one's"))
        assert rows(c)[third.id] == before
        kept = rows(c)
        recount_links(c)
        assert rows(c) == kept
        assert batch_ledger(c, three).inputs_g[1] == pytest.approx(225.0, abs=2.0)


def test_what_is_asked_back(log):
    with log.write() as c:
        one, two, three = lots(c, 3)
        for data, words in (
            ({"how": "pour", "vessel": "bufer", "into": "main"}, "there is no vessel 'bufer'"),
            ({"how": "merge", "vessel": "main", "from_batch": 99}, "no batch 99"),
            ({"how": "merge", "vessel": "main", "from_batch": one, "into_batch": three}, "one of the two vessels"),
            ({"how": "merge", "vessel": "main", "into": "MAIN"}, "can't go into the vessel that it comes out of"),
            ({"how": "split", "vessel": "main", "into": "pot"}, "which share"),
            ({"how": "pour", "vessel": "main", "into": "Stock", "share": "10 %"}, "notes of its own"),
        ):
            with pytest.raises(CallError, match=words):
                add_note(c, two, "moved", data)
        for kind in ("spilled", "evaporated", "handed_over", "vessel_weighed"):
            data = {"vessel": "nowhere", "share": "1-2%", "left_l": 1, "what": "x", "grams": 1}
            fields = {"spilled": ("vessel", "share"), "evaporated": ("vessel", "left_l"),
                      "handed_over": ("vessel", "what"), "vessel_weighed": ("vessel", "grams")}[kind]  # fmt: skip
            with pytest.raises(CallError, match="there is no vessel 'nowhere'"):
                add_note(c, two, kind, {name: data[name] for name in fields})
        assert rows(c) == {}
