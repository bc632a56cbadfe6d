"""Search over the log, the stage kept of each batch, and the phones: on SQLite and on PostgreSQL alike."""

from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import select

from service.errors import NotFound, WrongStatement
from service.log import store
from service.log.aside.phones import all_phones, keep_phone, label, name_phone, photos_to_look_at, unknown_photos
from service.log.aside.stages import first_stage
from service.log.course.moving import move_on
from service.log.course.state import batch_state
from service.log.database import Database
from service.log.finding.search import search
from service.log.finding.sources import SOURCES, Wanted
from service.log.models import batch_stages, events, now, photo_phones
from service.log.notes import add_note, notes_of
from service.log.search_words.rows import keep_event
from stripread.errors import CallError
from tests.log.conftest import add_reading
from tests.log.made_logs import as_older_form, made_log


@pytest.fixture(params=["sqlite_log", pytest.param("postgres_log", marks=pytest.mark.slow)])
def log(request):
    made = request.getfixturevalue(request.param)
    database = Database(made.url)
    database.migrate()
    with database.write() as c:
        june = store.add_batch(c, "Größe of June 100%")
        add_note(c, june, "weight", {"of": "chloride", "grams": 412.0})
        add_note(c, june, "decant", {"name": "wash ÄHNLICH", "litres": 0.9})
        slip = add_note(c, june, "used", {"what": "lye from the shelf", "grams": 5.0})
        add_note(c, june, "strike", {"note": slip.id, "why": "another vessel"})
        for n in range(5):
            add_reading(c, made.data, june, 3.0 + n / 10, note=f"june {n}")
    yield database, made, june
    database.close()


def _texts(c, **wanted):
    return [found.text for found in search(c, Wanted(**wanted)).found]


def test_words_are_found_in_names_notes_and_readings(log):
    database, _, june = log
    with database.read() as c:
        assert _texts(c, words="größe JUNE") == ["Größe of June 100%"]
        assert _texts(c, words="100%") == ["Größe of June 100%"]
        assert _texts(c, words="100_") == []  # no pattern: a character of its own
        assert _texts(c, words="ähnlich") == ["wash ÄHNLICH: 0.9 L"]
        assert _texts(c, words="decant", batch=june) == ["wash ÄHNLICH: 0.9 L"]  # as the form calls it
        assert _texts(c, words="grams", batch=june) == []  # a field's name is nothing that somebody wrote
        assert _texts(c, words="june 3") == ["pH 3.30 (3.00 to 3.60); june 3"]
        (lye,) = search(c, Wanted("shelf")).found
    assert (lye.what, lye.kind, lye.counts, lye.batch_name) == ("note", "used", False, "Größe of June 100%")


def test_filters(log):
    database, _, june = log
    with database.write() as c:
        move_on(c, june, None, "looks well", "A.")
        store.change_batch(c, june, name=None, closed=True, details=None)
    with database.read() as c:
        stage = batch_state(c, june).stage.id
        assert stage != first_stage()
        assert {f.batch for f in search(c, Wanted(stage=stage)).found} == {june}
        assert june not in {f.batch for f in search(c, Wanted(stage=first_stage())).found}
        assert {f.batch for f in search(c, Wanted(state="closed", kind="batch")).found} >= {june}
        assert june not in {f.batch for f in search(c, Wanted(state="open")).found}
        assert {f.kind for f in search(c, Wanted(kind="ph")).found} == {"ph"}
        assert {f.kind for f in search(c, Wanted(kind="weight", batch=june)).found} == {"weight"}
        assert search(c, Wanted(status="refused")).found == ()
        later = datetime.now(UTC) + timedelta(hours=1)
        assert search(c, Wanted(since=later)).found == ()
        assert len(search(c, Wanted(until=later, batch=june)).found) == 11  # batch, five notes and moves, five readings
        for wrong in (Wanted(kind="wight"), Wanted(state="shut"), Wanted(status="fine")):
            with pytest.raises(CallError, match="is one of"):
                search(c, wrong)
        with pytest.raises(CallError, match="begin the search anew"):
            search(c, Wanted(), after="yesterday")


def test_pages_neither_repeat_nor_lose_while_rows_are_added(log):
    database, _, june = log
    with database.read() as c:
        whole = search(c, Wanted(), limit=200)
    assert whole.after is None
    assert [f.at for f in whole.found] == sorted((f.at for f in whole.found), reverse=True)
    seen, after = [], None
    for _ in range(50):
        with database.write() as c:
            page = search(c, Wanted(), limit=3, after=after)
            add_note(c, june, "vessel", {"retained_l": 0.08 + len(seen) / 1000})
        seen += page.found
        after = page.after
        if after is None:
            break
    assert seen == list(whole.found)


def test_a_page_ends_where_enough_rows_were_looked_at(log, monkeypatch):
    database, _, _ = log
    monkeypatch.setattr("service.log.finding.search._AT_ONCE", 2)
    monkeypatch.setattr("service.log.finding.search._LOOKED_AT", 2)
    with database.read() as c:
        found, after, pages = [], None, 0
        while pages == 0 or after:
            page = search(c, Wanted("größe"), after=after)  # in SQL only "gr" is asked for
            found, after, pages = [*found, *page.found], page.after, pages + 1
    assert [f.text for f in found] == ["Größe of June 100%"]


def test_a_damaged_note_is_listed_as_such(log):
    database, _, june = log
    with database.write() as c:
        values = {"batch_id": june, "at": now(), "what": "bench:weight", "detail": '{"grams": "torn'}
        number = c.execute(events.insert().values(values).returning(events.c.id)).scalar_one()
        keep_event(c, number, values["at"], values["what"], values["detail"])
    with database.read() as c:
        assert "damaged" in search(c, Wanted(kind="weight")).found[0].text


def test_the_database_goes_by_its_indexes(sqlite_log):
    """A page is read off an index by time: nothing is sorted, whatever the log's length."""
    database = Database(sqlite_log.url)
    database.migrate()
    with database.read() as c:
        for source, index in zip(SOURCES, ("batches_opened_at", "events_at", "entries_received_at"), strict=True):
            query = source.query(Wanted("wash"), ["wash"]).order_by(source.at.desc(), source.id.desc()).limit(9)
            asked = str(query.compile(c, compile_kwargs={"literal_binds": True}))
            plan = str(c.exec_driver_sql(f"EXPLAIN QUERY PLAN {asked.replace('%%', '%')}").all())
            assert f"ix_{index}" in plan
            assert "TEMP B-TREE" not in plan
    database.close()


def test_an_older_log_gets_the_stages_of_its_batches_and_its_phones(tmp_path):
    made = made_log(tmp_path / "data", 4)
    with made.database.write() as c:
        choice = store.add_batch(c, "moved on")
        move_on(c, choice, None, "looks well", "A.")
        stage = batch_state(c, choice).stage.id
    older = as_older_form(made, tmp_path / "older.sqlite3")
    with made.database.read() as c:
        kept = dict(c.execute(select(batch_stages.c.batch_id, batch_stages.c.stage)).all())
        expected = {row["id"]: batch_state(c, row["id"]).stage.id for row in store.all_batches(c)}
    made.database.close()
    older.migrate()
    with older.write() as c:
        assert dict(c.execute(select(batch_stages.c.batch_id, batch_stages.c.stage)).all()) == expected
        assert expected[choice] == kept[choice] == stage
        photos = photos_to_look_at(c, 1000)
        assert len(photos) > 3
        assert unknown_photos(c) == len(photos)
        keep_phone(c, photos[0], ("Made", "Made up 1"))
        keep_phone(c, photos[1], ("", ""))
        assert photos_to_look_at(c, 1000) == photos[2:]
        row = next(r for b in expected for r in store.entries_of(c, b) if r["photo_sha256"] == photos[0])
        assert (row["make"], row["model"], row["phone_name"]) == ("Made", "Made up 1", None)
    older.close()


def test_phones_are_named_by_their_user(log):
    database, _, _ = log
    with database.write() as c:
        first, second, third, *_ = photos_to_look_at(c)
        keep_phone(c, first, ("Anyone", "A-1"))
        keep_phone(c, second, ("Anyone", "A-1"))
        keep_phone(c, second, ("Anyone", "other"))  # looked at before: stays
        keep_phone(c, third, ("Anyone", "Anyone B"))
        a, b = all_phones(c)
        assert [(p.label, p.photos) for p in (a, b)] == [("Anyone A-1", 2), ("Anyone B", 1)]
        assert name_phone(c, a.id, " workshop  phone ").label == "workshop phone"
        with pytest.raises(WrongStatement, match="is called workshop phone already"):
            name_phone(c, b.id, "Workshop Phone")
        with pytest.raises(WrongStatement, match="at most 60"):
            name_phone(c, b.id, "x" * 61)
        with pytest.raises(NotFound, match="There is no phone 99"):
            name_phone(c, 99, "x")
        assert c.execute(select(photo_phones.c.phone_id).where(photo_phones.c.photo_sha256 == second)).scalar() == a.id
        found = search(c, Wanted("workshop")).found
        assert {f.phone for f in found} == {"workshop phone"}
        assert len(found) == 2
        assert name_phone(c, a.id, "").label == "Anyone A-1"
    assert label(None, None, None) == "unknown phone"


def test_striking_a_move_puts_the_batch_back(log):
    database, _, june = log
    with database.write() as c:
        note, state = move_on(c, june, None, "looks well", "A.")
        add_note(c, june, "strike", {"note": note.id, "why": "too early"})
        kept = c.execute(select(batch_stages.c.stage).where(batch_stages.c.batch_id == june)).scalar()
        assert kept == batch_state(c, june).stage.id == first_stage() != state.stage.id
        assert len(notes_of(c, june)) == 6
