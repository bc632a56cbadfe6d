"""The log's SQL: each function on a small log whose answers are known, and what every change leaves in the chain."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from sqlalchemy import select

from service.errors import NotFound
from service.log import store
from service.log.course.standing import corrected, in_force
from service.log.database import Database
from service.log.models import chain, entries, photos, profiles

PHOTO, OTHER = "a" * 64, "b" * 64
PROFILE = ("c" * 64, "a profile")
READING = {
    "photo": "a.jpg", "kind": "ph", "status": "ok", "ph": 6.5, "interval": [6.0, 7.0], "reasons": [], "sha256": PHOTO,
    "software": "stripread 0", "seconds": 0.1, "pads": [],
}  # fmt: skip


@pytest.fixture(scope="module")
def database(tmp_path_factory):
    made = Database(f"sqlite:///{tmp_path_factory.mktemp('store') / 'log.sqlite3'}")
    made.migrate()
    yield made
    made.close()


@pytest.fixture
def c(database):
    """A connection to an empty log; what a test writes is taken back."""
    with database.engine.connect() as connection:
        yield connection
        connection.rollback()


def _new(batch=1, photo=PHOTO, **other):
    return replace(store.NewEntry(batch, "ph", "photo", photo, 1234, READING | {"sha256": photo}), **other)


def _linked(c):
    """What the chain ties, in order."""
    return [row.what for row in c.execute(select(chain).order_by(chain.c.n)) if row.what != "mark"]


def test_a_batch_from_opening_to_closing(c):
    number = store.add_batch(c, "first")
    assert store.open_batch(c) == number
    found = store.batch(c, number)
    assert (found["name"], found["closed_at"], found["details"]) == ("first", None, {})
    store.change_batch(c, number, name="the first", closed=True, details={"water": "tap"})
    found = store.batch(c, number)
    assert (found["name"], found["details"]) == ("the first", {"water": "tap"})
    assert found["closed_at"] is not None
    assert store.open_batch(c) is None
    store.change_batch(c, number, name=None, closed=False, details=None)
    assert store.batch(c, number)["closed_at"] is None
    assert store.batch(c, number)["name"] == "the first"
    assert [(e["what"], e["detail"]) for e in store.batch_events(c, number)] == [
        ("opened", {"name": "first"}),
        ("renamed", {"from": "first", "to": "the first"}),
        ("closed", {}),
        ("details", {"from": {}, "to": {"water": "tap"}}),
        ("opened again", {}),
    ]
    assert _linked(c) == ["batches", "events", "batches", "events", "events", "events", "batches", "events"]


def test_what_is_so_already_is_no_change(c):
    number = store.add_batch(c, "first")
    before = _linked(c)
    store.change_batch(c, number, name="first", closed=False, details={})
    store.change_batch(c, number, name=None, closed=None, details=None)
    assert _linked(c) == before
    store.change_batch(c, number, name=None, closed=True, details=None)
    closed_at = store.batch(c, number)["closed_at"]
    store.change_batch(c, number, name=None, closed=True, details=None)
    assert store.batch(c, number)["closed_at"] == closed_at
    assert [e["what"] for e in store.batch_events(c, number)] == ["opened", "closed"]
    with pytest.raises(AssertionError):
        store.change_batch(c, 77, name="none", closed=None, details=None)


def test_batches_newest_first_with_their_entries(c):
    first, second, third = (store.add_batch(c, name) for name in ("first", "second", "third"))
    store.add_entry(c, _new(first))
    store.add_entry(c, _new(first, OTHER))
    store.add_entry(c, _new(second))
    assert [(b["id"], b["name"], b["entries"]) for b in store.all_batches(c)] == [
        (third, "third", 0),
        (second, "second", 1),
        (first, "first", 2),
    ]
    assert store.open_batch(c) == third
    store.change_batch(c, third, name=None, closed=True, details=None)
    assert store.open_batch(c) == second
    assert store.batch_events(c, second)[0]["detail"] == {"name": "second"}
    assert len(store.batch_events(c, second)) == 1


def test_an_entry_comes_back_as_it_was_given(c):
    batch = store.add_batch(c, "first")
    given = _new(
        batch, wash=3, note="third", snapped_at="2026-01-01T10:00:00+00:00", profile=PROFILE, extras={"rinse": "tap"},
        made_by="M.", why="a test",
    )  # fmt: skip
    number = store.add_entry(c, given, ("key", "f" * 64))
    found = store.entry(c, number)
    expected = {
        "id": number, "batch_id": batch, "kind": "ph", "origin": "photo", "wash": 3,
        "snapped_at": "2026-01-01T10:00:00+00:00",
        "note": "third", "photo_sha256": PHOTO, "profile_sha256": PROFILE[0], "software": "stripread 0", "status": "ok",
        "value": 6.5, "low": 6.0, "high": 7.0, "reading": READING, "extras": {"rinse": "tap"}, "corrects_id": None,
        "made_by": "M.", "why": "a test",
    }  # fmt: skip
    assert {key: found[key] for key in expected} == expected
    key = store.key_of(c, "key")
    assert (key["entry_id"], key["fingerprint"]) == (number, "f" * 64)
    assert store.key_of(c, "another") is None
    assert store.profile_text(c, PROFILE[0]) == "a profile"
    assert store.profile_text(c, OTHER) is None
    assert store.photo_size(c, PHOTO) == 1234
    assert (store.knows_photo(c, PHOTO), store.knows_photo(c, OTHER)) == (True, False)
    assert _linked(c) == ["batches", "events", "photos", "profiles", "entries", "keys"]


def test_photo_and_profile_are_kept_once(c):
    batch = store.add_batch(c, "first")
    for _ in range(2):
        store.add_entry(c, _new(batch, profile=PROFILE))
    plain = store.add_entry(c, _new(batch))
    assert store.entry(c, plain)["profile_sha256"] is None
    assert len(c.execute(select(photos)).all()) == len(c.execute(select(profiles)).all()) == 1
    assert _linked(c) == ["batches", "events", "photos", "profiles", "entries", "entries", "entries"]
    store.add_key(c, ("late", "e" * 64), plain)
    assert store.key_of(c, "late")["entry_id"] == plain
    assert _linked(c)[-1] == "keys"


def test_entries_in_order_from_where_one_has_read(c):
    first, second = store.add_batch(c, "first"), store.add_batch(c, "second")
    assert (store.newest_entry(c), store.last_entry(c, first), store.count_entries(c, first)) == (0, 0, 0)
    numbers = [store.add_entry(c, _new(batch, wash=wash)) for wash, batch in enumerate((first, second, first, first))]
    one, other, two, three = numbers
    assert [e["id"] for e in store.entries_of(c, first)] == [one, two, three]
    assert [e["id"] for e in store.entries_of(c, first, after=one)] == [two, three]
    assert [e["id"] for e in store.entries_of(c, first, after=one, limit=1)] == [two]
    assert [e["id"] for e in store.entries_of(c, first, limit=2)] == [one, two]
    assert [e["id"] for e in store.entries_of(c, second)] == [other]
    assert (store.last_entry(c, first), store.last_entry(c, second)) == (three, other)
    assert (store.count_entries(c, first), store.count_entries(c, second)) == (3, 1)
    assert store.newest_entry(c) == three
    assert store.entries_of(c, first)[0]["reading"] == READING


def test_the_same_photo_in_its_batch_kind_and_profile(c):
    first, second = store.add_batch(c, "first"), store.add_batch(c, "second")
    one = store.add_entry(c, _new(first, profile=PROFILE))
    two = store.add_entry(c, _new(first, profile=PROFILE))
    bare = store.add_entry(c, _new(first))
    store.add_entry(c, _new(first, OTHER, profile=PROFILE, corrects_id=one))

    def same(batch=first, kind="ph", photo=PHOTO, profile=PROFILE[0], above=0):
        return store.same_photo(c, batch, kind, photo, profile=profile, above=above)

    assert same() == one
    assert same(above=one - 1) == one
    assert same(above=one) == two
    assert same(above=two) is None
    assert same(profile=None) == bare
    assert same(batch=second) is None
    assert same(kind="tint") is None
    assert same(photo=OTHER) is None  # a correction is no photo sent again


def test_corrections(c):
    batch, elsewhere = store.add_batch(c, "first"), store.add_batch(c, "second")
    one, two, three = (store.add_entry(c, _new(batch, wash=n)) for n in range(3))
    again = store.add_entry(c, _new(batch, corrects_id=one))
    last = store.add_entry(c, _new(batch, corrects_id=one))
    of_three = store.add_entry(c, _new(batch, corrects_id=three))
    store.add_entry(c, _new(elsewhere, corrects_id=two))
    assert (store.corrector(c, one), store.corrector(c, three)) == (last, of_three)
    assert store.corrector(c, again) is None
    assert store.correctors(c, batch, [one, two, three]) == {one: last, three: of_three}
    assert store.correctors(c, batch, [one, two]) == {one: last}
    assert store.correctors(c, batch, [two, three]) == {three: of_three}
    assert store.correctors(c, batch, [one, two, three], up_to=of_three) == {one: last, three: of_three}
    assert store.correctors(c, batch, [one, two, three], up_to=again) == {one: again}
    assert store.correctors(c, batch, []) == {}
    rows = store.entries_of(c, batch)
    assert corrected(rows) == {one: last, three: of_three}
    assert [row["id"] for row in in_force(rows)] == [two, again, last, of_three]


def test_withdrawn_entries_do_not_count(c):
    batch = store.add_batch(c, "first")
    one = store.add_entry(c, _new(batch))
    store.add_entry(c, _new(batch, extras={"withdrawn": True}))
    kept = store.add_entry(c, _new(batch, extras={"withdrawn": False}))
    assert [row["id"] for row in in_force(store.entries_of(c, batch))] == [one, kept]


@pytest.mark.parametrize(
    ("reading", "expected"),
    [
        ({"kind": "ph", "ph": 6.5, "interval": [6.0, 7.0]}, (6.5, 6.0, 7.0)),
        ({"kind": "ph", "ph": None, "interval": None}, (None, None, None)),
        ({"kind": "tint", "mg_per_l": 3.0, "interval": [1.0, 5.0], "absorbance": 9.0}, (3.0, 1.0, 5.0)),
        ({"kind": "tint", "absorbance": 0.1}, (None, None, None)),
        ({"kind": "solid", "pale_fraction": 0.2, "pale_interval": [0.1, 0.3]}, (0.2, 0.1, 0.3)),
    ],
)
def test_the_figures_of_a_reading(reading, expected):
    assert store.figures(reading) == expected


def test_a_refused_reading_has_no_figures(c):
    batch = store.add_batch(c, "first")
    number = store.add_entry(c, _new(batch, reading=READING | {"status": "refused", "ph": None, "interval": None}))
    found = store.entry(c, number)
    assert (found["status"], found["value"], found["low"], found["high"]) == ("refused", None, None, None)


def test_what_is_not_there_is_said(c):
    batch = store.add_batch(c, "first")
    number = store.add_entry(c, _new(batch))
    assert store.batch(c, batch + 1) is None
    assert store.entry(c, number + 1) is None
    assert store.known_batch(c, batch)["name"] == "first"
    assert store.known_entry(c, number)["id"] == number
    with pytest.raises(NotFound, match=f"no batch {batch + 1}"):
        store.known_batch(c, batch + 1)
    with pytest.raises(NotFound, match=f"no reading {number + 1}"):
        store.known_entry(c, number + 1)


def test_what_is_written_is_json(c):
    batch = store.add_batch(c, "first")
    number = store.add_entry(c, _new(batch, extras={"a": 1.5}))
    raw = c.execute(select(entries).where(entries.c.id == number)).mappings().one()
    assert json.loads(raw["reading"]) == READING
    assert json.loads(raw["extras"]) == {"a": 1.5}
