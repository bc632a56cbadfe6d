"""Batches, notes, stages, corrections with an Idempotency-Key: once, whatever is sent again. SQLite and PostgreSQL."""

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta

import pytest
from alembic import command
from fastapi.testclient import TestClient
from sqlalchemy import create_engine, text
from sqlalchemy.exc import DBAPIError

from service.log.chain.guards import guard_faults
from service.log.check import check_log
from service.log.database import Database
from service.log.opening.form import steps
from service.web.app import create_app
from tests.server.conftest import a_photo, settings_in

WEIGHT = {"kind": "weight", "data": {"of": "chloride", "grams": 412.5}}
DECANT = {"kind": "decant", "data": {"name": "wash 1", "litres": 1.0, "settled_h": 2.0}}
AGAINST = {"reason": "it is another day", "who": "M."}


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def app_and_folder(request, tmp_path_factory):
    url = _own(request.getfixturevalue("postgres")) if request.param == "postgresql" else None
    folder = tmp_path_factory.mktemp(request.param)
    with TestClient(create_app(settings_in(folder, database=url))) as c:
        yield c, folder


def _own(server: str) -> str:
    """A database of its own on this server: other tests look at its first one."""
    engine = create_engine(server, isolation_level="AUTOCOMMIT")
    with engine.connect() as c:
        c.execute(text("CREATE DATABASE keys_of_all"))
    engine.dispose()
    return server.rpartition("/")[0] + "/keys_of_all"


@pytest.fixture
def client(app_and_folder):
    return app_and_folder[0]


def _post(client, path, body, key, method="POST"):
    return client.request(method, path, json=body, headers={"Idempotency-Key": key} if key else {})


def _asked(client, batch):
    """Every action that changes the log but a photo: method, path and body."""
    entry = client.post(f"/api/batches/{batch}/readings", files={"photo": ("a.jpg", a_photo())}).json()["log"]["id"]
    return [
        ("POST", "/api/batches", {"name": "made twice?"}),
        ("PATCH", f"/api/batches/{batch}", {"name": "another name"}),
        ("POST", f"/api/batches/{batch}/notes", WEIGHT),
        ("POST", f"/api/batches/{batch}/stage", AGAINST),
        ("POST", f"/api/readings/{entry}/corrections", {"by": "M.", "why": "the third", "wash": 3}),
        ("PATCH", f"/api/batches/{batch}", {"closed": True}),
    ]


def _state(client, batch):
    paths = ("", f"/{batch}", f"/{batch}/notes", f"/{batch}/readings", f"/{batch}/bench")
    return [client.get(f"/api/batches{path}").json() for path in paths]


def test_the_same_key_gets_the_first_answer_and_changes_nothing(client, batch):
    for n, (method, path, body) in enumerate(_asked(client, batch)):
        key = f"same-{batch}-{n}"
        first = _post(client, path, body, key, method)
        assert first.status_code in (200, 201), first.text
        assert "idempotency-replayed" not in first.headers
        after = _state(client, batch)
        again = _post(client, path, body, key, method)
        assert (again.status_code, again.json()) == (first.status_code, first.json())
        assert again.headers["idempotency-replayed"] == "true"
        assert _state(client, batch) == after


def test_a_key_used_for_something_else_is_refused(client, batch):
    _post(client, f"/api/batches/{batch}/notes", WEIGHT, f"k{batch}")
    photo = {"photo": ("a.jpg", a_photo())}
    client.post(f"/api/batches/{batch}/readings", files=photo, headers={"Idempotency-Key": f"p{batch}"})
    after = _state(client, batch)
    for key, path, body in (
        (f"k{batch}", f"/api/batches/{batch}/notes", DECANT),
        (f"k{batch}", f"/api/batches/{batch}/stage", AGAINST),
        (f"p{batch}", f"/api/batches/{batch}/notes", WEIGHT),
    ):
        answer = _post(client, path, body, key)
        assert (answer.status_code, answer.json()["code"]) == (422, "key_reused")
    assert _state(client, batch) == after


def test_what_was_refused_may_be_mended_under_its_key(client, batch):
    path, key = f"/api/batches/{batch}/notes", f"m{batch}"
    wrong = {"kind": "weight", "data": {"of": "chloride", "grams": "412,5 yards"}}
    assert _post(client, path, wrong, key).status_code == 422
    assert _post(client, path, WEIGHT, key).status_code == 201
    assert len(client.get(path).json()) == 1


def test_the_same_note_under_two_keys_is_two_notes(client, batch):
    path = f"/api/batches/{batch}/notes"
    ids = [_post(client, path, DECANT, key).json()["id"] for key in (f"a{batch}", f"b{batch}", f"a{batch}", None)]
    assert ids[0] == ids[2] != ids[1]
    assert len(client.get(path).json()) == 2  # without a key the minute counts, as before


def test_many_at_once_count_once(client, batch):
    path, key = f"/api/batches/{batch}/notes", f"many{batch}"
    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(lambda _: _post(client, path, DECANT, key).json()["id"], range(16)))
    assert len(set(answers)) == 1
    assert len(client.get(path).json()) == 1


def test_a_note_has_the_time_at_which_it_was_written_down(client, batch):
    path = f"/api/batches/{batch}/notes"
    before = datetime.now(UTC) - timedelta(hours=3)
    east = before.astimezone().isoformat(timespec="milliseconds")
    late = _post(client, path, DECANT | {"written_at": east}, f"l{batch}").json()
    assert abs(datetime.fromisoformat(late["at"]) - before) < timedelta(seconds=1)
    ahead = (datetime.now(UTC) + timedelta(hours=3)).isoformat()
    now = _post(client, path, WEIGHT | {"written_at": ahead}, f"n{batch}").json()  # a clock that is plainly wrong
    assert datetime.now(UTC) - datetime.fromisoformat(now["at"]) < timedelta(minutes=1)
    moved = _post(client, f"/api/batches/{batch}/stage", AGAINST | {"written_at": east}, f"s{batch}")
    assert moved.status_code == 200
    assert abs(datetime.fromisoformat(client.get(path).json()[-1]["at"]) - before) < timedelta(seconds=1)


def test_an_entry_says_whose_time_it_has(client, batch):
    chosen = (datetime.now(UTC) - timedelta(hours=3)).isoformat()
    form = {"snapped_at": chosen, "snapped_by": "upload"}
    photo = {"photo": ("a.jpg", a_photo() + b"CAMERA=;")}
    sent = client.post(f"/api/batches/{batch}/readings", files=photo, data=form).json()
    assert (sent["log"]["moment"]["source"], sent["log"]["snapped_at"]) == ("upload", chosen)
    assert datetime.fromisoformat(sent["log"]["moment"]["utc"]) == datetime.fromisoformat(chosen)


def test_the_log_is_whole_with_the_answers_in_it(app_and_folder, batch):
    client, folder = app_and_folder
    for n, (method, path, body) in enumerate(_asked(client, batch)):
        _post(client, path, body, f"whole-{batch}-{n}", method)
    service = client.app.state.service
    database = Database(service.settings.database_url)
    for statement in ("DELETE FROM answers", "UPDATE answers SET status = 500"):
        with pytest.raises(DBAPIError, match="never changed or deleted"), database.write() as c:
            c.execute(text(statement))
    assert check_log(database, folder / "data").faults == ()
    database.close()


def test_a_log_of_the_form_before_takes_keys_up(tmp_path):
    older = Database(f"sqlite:///{tmp_path / 'log.sqlite3'}")
    config = steps()
    with older.write() as c:
        config.attributes["connection"] = c
        command.upgrade(config, "0002")
    older.migrate()
    with older.read() as c:
        assert guard_faults(c) == []
    assert check_log(older, tmp_path).faults == ()
    older.close()
