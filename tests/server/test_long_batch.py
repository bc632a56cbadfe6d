"""A batch of many entries costs no more than its new ones: what is kept in memory is what the log says."""

import csv
import io

import pytest

from service.bench.state import state_of
from service.bench.state_view import state_view
from service.bench.washing.phases import NEWEST_OF_A_WASH, counting
from service.bench.washing.reading import Reading
from service.log import entry_cache, listing, store
from service.log.course.state import batch_state, observations
from service.log.notes import notes_of
from tests.server.conftest import a_photo


@pytest.fixture
def database(client):
    return client.app.state.service.database


def _light(row):
    """An entry of the log, without what is not kept."""
    reading = {k: v for k, v in row["reading"].items() if k not in entry_cache.HEAVY}
    extras = {"withdrawn": bool(row["extras"].get("withdrawn"))}
    extras |= {name: row["extras"][name] for name in ("snapped_from", "asked") if row["extras"].get(name)}
    return {**{k: row[k] for k in entry_cache._COLUMNS}, "reading": reading, "extras": extras}


def _withdraw(client, entry):
    said = {"by": "M.", "why": "wrong beaker", "withdraw": True}
    assert client.post(f"/api/readings/{entry}/corrections", json=said).status_code == 201


def test_what_is_kept_is_what_the_log_says(client, batch, send, database, monkeypatch):
    monkeypatch.setattr(entry_cache, "AT_ONCE", 2)
    for step in range(3):
        old = send(wash="1").json()["log"]["id"]
        send(a_photo("refuse"), kind="ph")
        send(kind=("tint", "solid", "ph")[step], path_mm="20")
        _withdraw(client, old)
        with database.read() as c:
            kept, whole = entry_cache.slim_rows(c, batch), store.entries_of(c, batch)
        assert len(kept) == 4 * (step + 1)
        assert kept == [_light(row) for row in whole]
        assert {"pads", "strips"} <= entry_cache.HEAVY
    assert client.get(f"/api/batches/{batch}/readings").json()[0]["pads"]  # the log itself has all


def test_the_gate_needs_nothing_that_is_left_out(client, batch, send, database):
    client.post(f"/api/batches/{batch}/notes", json={"kind": "weight", "data": {"of": "chloride", "grams": 412.0}})
    client.post(f"/api/batches/{batch}/notes", json={"kind": "vessel", "data": {"retained_l": 0.1}})
    for kind in ("tint", "ph", "solid", "tint", "ph"):
        send(kind=kind, path_mm="20", wash="2")
        with database.read() as c:
            seen = observations(c, store.batch(c, batch), store.entries_of(c, batch))
            assert state_view(batch_state(c, batch)) == state_view(state_of(notes_of(c, batch), seen, None, None))


def test_only_new_entries_are_read_from_the_log(client, batch, send, database, monkeypatch):
    read = []
    monkeypatch.setattr(entry_cache, "_slim", lambda row, plain=entry_cache._slim: read.append(row["id"]) or plain(row))
    number = send(wash="1").json()["log"]["id"]
    with database.write() as c:
        first = store.entry(c, number)
        for _ in range(50):
            _again(c, first)
    pages = (f"/api/batches/{batch}", f"/api/batches/{batch}/forecast", f"/api/batches/{batch}/bench")
    for page in pages:
        client.get(page)
    assert len(read) == 51
    new = send(wash="2").json()["log"]["id"]
    for page in pages:
        assert client.get(page).status_code == 200
    assert read[51:] == [new]


def _again(c, row):
    names = ("batch_id", "kind", "origin", "photo_sha256", "reading", "wash")
    return store.add_entry(c, store.NewEntry(**{name: row[name] for name in names}, photo_size=1))


def test_an_entry_that_was_taken_back_is_not_kept(batch, send, database):
    number = send().json()["log"]["id"]
    with database.engine.connect().execution_options(writes=True) as c, c.begin() as taken_back:
        new = _again(c, store.entry(c, number))
        assert [row["id"] for row in entry_cache.slim_rows(c, batch)] == [number, new]
        taken_back.rollback()
    with database.read() as c:
        assert [row["id"] for row in entry_cache.slim_rows(c, batch)] == [number]


def test_two_batches_are_kept_apart_and_the_oldest_is_forgotten(client, send, database, monkeypatch):
    monkeypatch.setattr(entry_cache, "BATCHES", 2)
    numbers = [client.post("/api/batches", json={"name": str(n)}).json()["id"] for n in range(3)]
    made = {number: send(to=number).json()["log"]["id"] for number in numbers}
    with database.read() as c:
        for number in [*numbers, *numbers]:
            assert [row["id"] for row in entry_cache.slim_rows(c, number)] == [made[number]]
    assert list(entry_cache._kept[database.engine]) == numbers[1:]


def test_the_list_comes_in_pages_and_each_entry_names_its_corrector(client, batch, send):
    old, middle = (send(wash=str(n)).json()["log"]["id"] for n in (1, 2))
    _withdraw(client, old)
    whole = client.get(f"/api/batches/{batch}/readings").json()
    assert [e["log"]["corrected_by"] for e in whole] == [whole[2]["log"]["id"], None, None]
    paged, last = [], 0
    while page := client.get(f"/api/batches/{batch}/readings", params={"after": last, "limit": 1}).json():
        assert len(page) == 1
        paged += page
        last = page[0]["log"]["id"]
    assert paged == whole
    assert client.get(f"/api/batches/{batch}/readings?after={middle}").json() == whole[2:]


def test_lists_and_exports_in_pieces_are_the_same_as_whole(client, batch, send, monkeypatch):
    numbers = [send(wash=str(n)).json()["log"]["id"] for n in range(5)]
    _withdraw(client, numbers[0])
    addresses = [
        f"/api/batches/{batch}/{what}" for what in ("readings", "readings?limit=3", "export.csv", "export.json")
    ]
    whole = [client.get(address) for address in addresses]
    monkeypatch.setattr(listing, "AT_ONCE", 2)
    pieces = [client.get(address) for address in addresses]
    for one, other in zip(whole[:3], pieces[:3], strict=True):
        assert one.content == other.content
    assert whole[3].json()["readings"] == pieces[3].json()["readings"] == whole[0].json()
    assert [e["log"]["id"] for e in whole[1].json()] == numbers[:3]
    assert len(list(csv.reader(io.StringIO(pieces[2].text)))) == 1 + 6
    assert client.get(f"/api/batches/{batch}/readings?after={2**31 - 1}").json() == []


def test_a_list_is_one_state_of_the_log_whatever_is_added_meanwhile(batch, client, send, database, monkeypatch):
    monkeypatch.setattr(listing, "AT_ONCE", 1)
    numbers = [send(wash=str(n)).json()["log"]["id"] for n in range(2)]
    coming = listing.pieces(database, batch)
    found = [next(coming)]
    _withdraw(client, numbers[1])
    found += coming
    assert [row["id"] for rows, _ in found for row in rows] == numbers
    assert [newer for _, newer in found] == [{}, {}]


def test_a_forecast_rests_on_the_newest_readings_of_the_present_washing():
    acid = [Reading(n, 1.0 + n, (0.7 + n, 1.3 + n)) for n in (1, 2, 3, 4)]
    newest = [Reading(6, 12.0 - k / 100, (11.5, 12.3), part=1) for k in range(NEWEST_OF_A_WASH + 5)]
    lye = [Reading(5, 13.0, (12.7, 13.3), part=1), *newest]  # the notes say where a new washing began
    assert counting(acid) == (acid, 0)
    readings, before = counting([*lye, *acid])
    assert before == 4
    assert readings == [lye[0], *lye[6:]]
    assert len(readings) == 1 + NEWEST_OF_A_WASH
