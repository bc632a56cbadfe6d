"""The stock vessel by its kept sums is the vessel that pouring every note again gives, whatever was struck since.

The other side adds up every note from the first one, as the log did before it kept sums.
"""

from __future__ import annotations

import json
import random

import pytest
from sqlalchemy import delete, func, select, text

from service.bench.notes import Emptying, MadeSafe, Note, Strike, in_force
from service.bench.vessel.history import open_dangers, vessel_of
from service.bench.vessel.waste import stock
from service.cli import main
from service.log import store
from service.log.check import check_log
from service.log.database import Database
from service.log.models import events, vessel_sums
from service.log.noted import vessel
from service.log.noted.rows import PREFIX, notes_in
from service.log.notes import Said, add_note
from service.log.timeline.amending import amend_note, undo_note
from stripread.errors import CallError
from stripread.words import speaking
from tests.log.made_logs import as_older_form, made_log

LIQUIDS = (
    {"what": "wash", "litres": 1.25, "ph": 1.2, "interval": [0.9, 1.5], "metals": ["silver"], "contents": ["salt"]},
    {"what": "vials", "litres": 0.1, "ph": 9.5, "metals": ["copper"], "ammonia": True, "despite": "it was poured"},
    {"what": "spent lye", "litres": 0.7, "mol": -0.4, "contents": ["sugar"], "despite": "it was poured"},
    {"what": "rinse", "litres": 2.0, "contents": ["citrate 0.05 mol/L"]},
    {"what": "a vat", "litres": 3.5, "metals": ["copper", "silver"], "contents": ["nitrate"], "despite": "it was"},
)


@pytest.fixture
def c(tmp_path, monkeypatch):
    monkeypatch.setattr(vessel, "MOST_NEW", 6)
    monkeypatch.setattr(vessel, "LEFT_NEW", 2)
    database = Database(f"sqlite:///{tmp_path / 'log.sqlite3'}")
    database.migrate()
    with database.write() as connection:
        for name in ("one", "two", "three"):
            store.add_batch(connection, name)
        yield connection
    database.close()


def _whole(c):
    """(stock, dangers, (batch, note) since the hand-over), from all notes."""
    rows = c.execute(select(events).where(events.c.what.startswith(PREFIX)).order_by(events.c.id)).mappings()
    read = notes_in(rows)
    batch_of = {note.id: batch for batch, note in read}
    counting = in_force([note for _, note in read if isinstance(note, Note)])
    last = max((i for i, n in enumerate(counting) if isinstance(n.content, Emptying)), default=-1)
    notes = counting[last + 1 :]
    dangers = open_dangers(notes)
    held = stock(vessel_of(notes), tuple(danger.stop for danger in dangers))
    kinds = vessel.CONTENT_KINDS
    return held, dangers, [(batch_of[n.id], n) for n in notes if n.kind in kinds]


def _alike(one, other):
    """Stocks are the same but for the last digits: a sum that is kept adds in another order."""
    assert (one.sentence, one.side, one.first, one.stops, one.metals) == (
        other.sentence, other.side, other.first, other.stops, other.metals,
    )  # fmt: skip
    assert (one.contents, one.silver, one.questions, one.ammonia) == (
        other.contents, other.silver, other.questions, other.ammonia,
    )  # fmt: skip
    assert one.litres == pytest.approx(other.litres)
    assert one.mol == pytest.approx(other.mol)
    for kind in other.held.kinds:
        assert one.held.strength(kind) == pytest.approx(other.held.strength(kind))


def _step(c, rng):
    batch = rng.randint(1, 3)
    own = [row for row in store.batch_events(c, batch) if row["what"].startswith(PREFIX)]
    kinds = ("poured", "mixed", "strike", "amend", "undo", "safe", "emptied", "weight")
    what = rng.choices(kinds, (9, 2, 3, 2, 2, 2, 1, 1))
    one = rng.choice(own)["id"] if own else 0
    try:
        if what[0] == "poured":
            add_note(c, batch, "poured", {**rng.choice(LIQUIDS), "what": f"liquid {rng.random()}"})
        elif what[0] == "mixed":
            add_note(c, batch, "mixed", {"ph": round(rng.uniform(1, 12), 2)})
        elif what[0] == "strike":
            add_note(c, batch, "strike", {"note": one, "why": f"no {rng.random()}"})
        elif what[0] == "amend":
            amend_note(c, batch, one, {"litres": round(rng.uniform(0.1, 3), 2)}, Said(why="a slip", keyed=True))
        elif what[0] == "undo":
            undo_note(c, batch, one, Said(why="a slip", keyed=True))
        elif what[0] == "safe":
            add_note(c, batch, "made_safe", {"note": one, "what": f"acid went in {rng.random()}"})
        elif what[0] == "emptied":
            add_note(c, batch, "emptied", {"what": f"to the collection {rng.random()}"})
        else:
            add_note(c, batch, "used", {"what": f"lye {rng.random()}", "grams": 3.0})
    except CallError:
        return  # as at the bench: nothing was written


@pytest.mark.parametrize("seed", [0, *(pytest.param(seed, marks=pytest.mark.thorough) for seed in range(1, 6))])
def test_the_sums_are_what_every_note_gives(c, seed):
    rng = random.Random(seed)
    most = 0
    for step in range(160):
        _step(c, rng)
        if step % 4 == 0:
            held, dangers, notes = _whole(c)
            _alike(vessel.stock_now(c), held)
            assert vessel.dangers_now(c) == dangers
            assert vessel.poured_now(c) == (notes, None)
        most = max(most, c.execute(select(func.count()).select_from(vessel_sums)).scalar_one())
    assert most > 5  # else nothing of this rested on a sum
    kept = {row.upto: row.held for row in c.execute(select(vessel_sums))}
    c.execute(delete(vessel_sums))
    vessel.keep_due(c)
    again = {row.upto: row.held for row in c.execute(select(vessel_sums))}
    assert {upto: held for upto, held in kept.items() if upto in again and again[upto] != held} == {}


def test_the_notes_of_the_vessel_come_in_pages(c):
    for n in range(11):
        add_note(c, 1 + n % 3, "poured", {**LIQUIDS[0], "what": f"wash {n}"})
    add_note(c, 1, "strike", {"note": vessel.poured_now(c)[0][3][1].id, "why": "no"})
    whole, none = vessel.poured_now(c)
    assert (len(whole), none) == (10, None)
    pages, before = [], None
    while True:
        page, before = vessel.poured_now(c, before=before, limit=4)
        pages = page + pages
        if before is None:
            break
    assert pages == whole


def test_a_sum_speaks_the_language_of_who_asks(c):
    for n in range(9):
        add_note(c, 1, "poured", {**LIQUIDS[n % 2], "what": f"wash {n}", "despite": "it was"})
        if n == 0:  # as an older version let it in
            said = {"what": "a jar", "litres": 0.2, "contents": ["zorgium"]}
            vessel.keep_sum(c, store.add_event(c, 1, "2026-01-01T00:00:00.000000+00:00", "bench:poured", said))
    assert c.execute(select(func.count()).select_from(vessel_sums)).scalar_one() > 0
    with speaking("de"):
        assert vessel.stock_now(c).questions == _whole(c)[0].questions != ()
        german = vessel.dangers_now(c)[0].sentence
        assert german == _whole(c)[1][0].sentence
    assert vessel.dangers_now(c)[0].sentence != german


def test_few_notes_are_read_however_many_there_are(c, monkeypatch):
    for n in range(60):
        add_note(c, 1, "poured", {**LIQUIDS[0], "what": f"wash {n}"})
    read = []

    def counted(rows):
        found = notes_in(rows)
        read.extend(found)
        return found

    monkeypatch.setattr(vessel, "notes_in", counted)
    assert vessel.stock_now(c).litres == pytest.approx(60 * 1.25)
    assert len(read) <= vessel.MOST_NEW


def test_a_damaged_note_goes_into_no_sum(c):
    add_note(c, 1, "poured", LIQUIDS[0])
    c.execute(text("DROP TRIGGER events_no_update"))
    c.execute(text("UPDATE events SET detail = '{' WHERE what = 'bench:poured'"))
    for n in range(9):
        add_note(c, 2, "poured", {**LIQUIDS[0], "what": f"wash {n}", "despite": "nobody knew"})
    assert c.execute(select(func.count()).select_from(vessel_sums)).scalar_one() == 0
    assert vessel.held_now(c).lost
    add_note(c, 2, "emptied", {"what": "all of it"})
    for n in range(9):
        add_note(c, 2, "poured", {**LIQUIDS[0], "what": f"wash {n}"})
    assert vessel.stock_now(c).litres == pytest.approx(9 * 1.25)
    assert c.execute(select(func.count()).select_from(vessel_sums)).scalar_one() > 0


def test_the_check_finds_a_sum_that_is_not_what_its_notes_say(tmp_path, monkeypatch):
    monkeypatch.setattr(vessel, "MOST_NEW", 6)
    monkeypatch.setattr(vessel, "LEFT_NEW", 2)
    database = Database(f"sqlite:///{tmp_path / 'log.sqlite3'}")
    database.migrate()
    with database.write() as c:
        store.add_batch(c, "one")
        for n in range(20):
            add_note(c, 1, "poured", {**LIQUIDS[0], "what": f"wash {n}"})
    assert check_log(database, tmp_path).faults == ()
    with database.write() as c:
        kept = c.execute(select(vessel_sums).limit(1)).one()
        wrong = {**json.loads(kept.held), "litres": 1.0}
        c.execute(vessel_sums.update().where(vessel_sums.c.upto == kept.upto).values(held=json.dumps(wrong)))
        c.execute(text("UPDATE batch_sums SET entries = 3"))
    faults = check_log(database, tmp_path).faults
    assert any("what the stock vessel holds after note" in fault for fault in faults)
    assert any("batch 1 is counted as 3 entries" in fault for fault in faults)
    database.close()
    with pytest.raises(SystemExit) as stop:
        main(["log", "recount", "--data", str(tmp_path)])
    assert stop.value.code == 0
    again = Database(f"sqlite:///{tmp_path / 'log.sqlite3'}")
    assert check_log(again, tmp_path).faults == ()
    with again.read() as c:
        assert vessel.stock_now(c).litres == pytest.approx(20 * 1.25)
    again.close()


def test_an_older_log_that_nobody_may_write_to_is_added_up(tmp_path):
    made = made_log(tmp_path / "data", 4)
    older = as_older_form(made, tmp_path / "older.sqlite3")
    with made.database.read() as c:
        counted = {row["id"]: row["entries"] for row in store.all_batches(c)}
        litres = vessel.stock_now(c).litres
    made.database.close()
    older.close()
    copy = Database(f"sqlite:///{tmp_path / 'older.sqlite3'}", read_only=True)
    with copy.read() as c:
        assert {row["id"]: row["entries"] for row in store.all_batches(c)} == counted
        assert vessel.stock_now(c).litres == litres
    copy.close()


def test_what_concerns_the_vessel_is_known_by_kind():
    assert set(vessel.CONTENT_KINDS) | set(vessel.CHANGES) == {
        "poured", "mixed", "emptied", "made_safe", MadeSafe.kind, Strike.kind, "amended", "silver_down",
    }  # fmt: skip
