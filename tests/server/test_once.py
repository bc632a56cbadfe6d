"""Nothing doubled: repeated posts get the first answer. On SQLite and on a real PostgreSQL."""

import io
import threading
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import create_engine, text
from sqlalchemy.exc import DBAPIError

from service.log import store
from service.log.check import check_log
from service.log.database import Database
from service.web.app import create_app
from tests.server.conftest import a_photo, settings_in


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def app_and_data(request, tmp_path_factory):
    url = request.getfixturevalue("postgres") if request.param == "postgresql" else None
    folder = tmp_path_factory.mktemp(request.param)
    app = create_app(settings_in(folder, database=url, same_photo_window=60.0))
    with TestClient(app) as c:
        yield c, folder


@pytest.fixture
def client(app_and_data):
    return app_and_data[0]


def _count(client, batch):
    return len(client.get(f"/api/batches/{batch}/readings").json())


def test_the_same_key_gets_the_first_answer(send, client, batch):
    photo = a_photo("ph=5.00")
    first = send(photo, key="k-1" + str(batch), wash="1")
    again = send(photo, key="k-1" + str(batch), wash="1")
    assert again.json() == first.json()
    assert "idempotency-replayed" not in first.headers
    assert again.headers["idempotency-replayed"] == "true"
    assert _count(client, batch) == 1


def test_the_same_photo_within_a_minute_gets_the_first_answer(send, client, batch):
    photo = a_photo()
    assert send(photo).json() == send(photo).json()
    assert _count(client, batch) == 1


def test_a_second_key_for_the_same_photo_is_remembered_for_good(send, client, batch):
    photo = a_photo()
    first = send(photo, key=f"a{batch}").json()
    assert send(photo, key=f"b{batch}").json() == first
    service = client.app.state.service
    window = service.intake._recent._seconds
    try:
        service.intake._recent._seconds = 0.0  # as if a minute had gone by
        assert send(photo, key=f"b{batch}").json() == first
        assert send(photo, key=f"c{batch}").json()["log"]["id"] != first["log"]["id"]
    finally:
        service.intake._recent._seconds = window


def test_a_key_used_for_another_photo_is_refused(send, batch):
    send(a_photo(), key=f"r{batch}")
    other = send(a_photo(), key=f"r{batch}")
    assert (other.status_code, other.json()["code"]) == (422, "key_reused")


def test_the_same_photo_as_another_kind_or_in_another_batch_is_another_reading(send, client, batch):
    photo = a_photo()
    other = client.post("/api/batches", json={"name": "another"}).json()["id"]
    ids = {
        send(photo).json()["log"]["id"],
        send(photo, kind="tint").json()["log"]["id"],
        send(photo, to=other).json()["log"]["id"],
    }
    assert len(ids) == 3


def test_a_repeated_post_is_answered_though_the_batch_was_closed(send, client, batch):
    photo = a_photo()
    first = send(photo, key=f"z{batch}").json()
    client.patch(f"/api/batches/{batch}", json={"closed": True})
    assert send(photo, key=f"z{batch}").json() == first


def test_posts_at_the_same_time_make_one_entry(send, client, batch):
    photo = a_photo("slow=0.3")
    gate = threading.Barrier(6)

    def post(n):
        gate.wait()
        return send(photo, key=None if n % 2 else f"same{batch}").json()["log"]["id"]

    with ThreadPoolExecutor(6) as pool:
        ids = set(pool.map(post, range(6)))
    assert len(ids) == 1
    assert _count(client, batch) == 1


@pytest.mark.parametrize("statement", ["DELETE FROM entries", "UPDATE entries SET note = 'x'", "DELETE FROM events"])
def test_the_database_itself_refuses_to_change_the_log(send, client, batch, statement):
    send()
    engine = create_engine(client.app.state.service.settings.database_url)
    with pytest.raises(DBAPIError, match="never changed or deleted"), engine.begin() as c:
        c.execute(text(statement))
    engine.dispose()


def test_the_log_is_whole(send, client, app_and_data):
    send()
    found = check_log(client.app.state.service.database, app_and_data[1] / "data")
    assert found.faults == ()
    assert found.entries > 0
    assert found.photos > 0


def test_migrating_twice_changes_nothing(client):
    database = Database(client.app.state.service.settings.database_url)
    database.migrate()
    with database.read() as c:
        store.all_batches(c)
    database.close()


def test_the_tables_are_those_of_the_models(client):
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    from service.log.models import metadata

    with client.app.state.service.database.read() as c:
        assert compare_metadata(MigrationContext.configure(c), metadata) == []


def test_sqlite_keeps_what_it_committed(tmp_path):
    database = Database(f"sqlite:///{tmp_path / 'log.sqlite3'}")
    with database.read() as c:
        pragmas = {
            p: c.exec_driver_sql(f"PRAGMA {p}").scalar() for p in ("journal_mode", "foreign_keys", "synchronous")
        }
    database.close()
    assert pragmas == {"journal_mode": "wal", "foreign_keys": 1, "synchronous": 2}  # 2 is FULL


def test_reread_says_what_changed_and_keeps_it_when_asked(tmp_path):
    from tests.server.fake_reader import LaterReader

    settings = settings_in(tmp_path)
    with TestClient(create_app(settings)) as old:
        batch = old.post("/api/batches", json={"name": "b"}).json()["id"]
        for orders in ("ph=6.00", "refuse"):
            old.post(f"/api/batches/{batch}/readings", files={"photo": ("a.jpg", a_photo(orders))})
        assert old.post(f"/api/batches/{batch}/reread").json()["same"] == 2
    with TestClient(create_app(replace(settings, reader=LaterReader))) as new:
        told = new.post(f"/api/batches/{batch}/reread").json()
        assert (told["read"], told["same"]) == (2, 1)
        assert told["changes"][0]["was"]["ph"] == 6.0
        assert told["changes"][0]["now"]["ph"] == 6.5
        assert _count(new, batch) == 2
        kept = new.post(f"/api/batches/{batch}/reread?keep=true").json()["changes"][0]["new_entry"]
        entry = new.get(f"/api/readings/{kept}").json()
        assert (entry["log"]["origin"], entry["log"]["corrects"], entry["ph"]) == ("reread", 1, 6.5)
        assert new.post(f"/api/batches/{batch}/reread").json()["same"] == 2
        sha256 = entry["sha256"]  # a damaged photo is a lost one, whatever it reads
        (settings.data / "photos" / sha256[:2] / sha256).write_bytes(a_photo("ph=9.00"))
        assert new.post(f"/api/batches/{batch}/reread?keep=true").json()["missing"] == [kept]


def test_reread_goes_on_over_photos_that_end_their_reader(tmp_path):
    settings = settings_in(tmp_path)
    with TestClient(create_app(settings)) as client:
        batch = client.post("/api/batches", json={"name": "b"}).json()["id"]
        for photo in (a_photo("ph=6.00"), a_photo("ph=6.10")):
            client.post(f"/api/batches/{batch}/readings", files={"photo": ("a.jpg", photo, "image/jpeg")})
        service = client.app.state.service
        with service.database.write() as c:  # photos that an earlier version could read
            row = store.entry(c, 1)
            profile = row["profile_sha256"], store.profile_text(c, row["profile_sha256"])
            for orders in ("die", "break"):
                sha256, size = service.blobs.keep(io.BytesIO(a_photo(orders)))
                reading = {**row["reading"], "sha256": sha256}
                store.add_entry(c, store.NewEntry(batch, "ph", "photo", sha256, size, reading, profile=profile))
        told = client.post(f"/api/batches/{batch}/reread").json()
    assert (told["read"], told["same"], told["missing"]) == (2, 2, [])
    why = {failed["entry"]: failed["why"] for failed in told["failed"]}
    assert set(why) == {3, 4}
    assert "ended the reader" in why[3]
    assert "a fault of ours" in why[4]
