"""A service on a real S3-compatible store: posts, pictures, re-reading, check, back-up, the store away."""

import hashlib
import json
import shutil
from contextlib import closing
from dataclasses import replace

import pytest
from click.testing import CliRunner
from fastapi.testclient import TestClient

from service.commands.log import command
from service.log.archive.restore import restore
from service.log.check import check_log
from service.log.database import Database
from service.log.photos.place import blobs_of
from service.log.photos.store import StoreAway
from service.web.app import create_app
from stripread.errors import CallError
from tests.server.conftest import a_photo, settings_in
from tests.server.fake_reader import LaterReader


@pytest.fixture
def bench(bucket, soon, tmp_path):
    """Settings, the running service's client, and two photos that it has."""
    settings = replace(settings_in(tmp_path), photos=bucket.url)
    with TestClient(create_app(settings)) as client:
        client.post("/api/batches", json={"name": "b"})
        sent = [_post(client, "ph=6.50"), _post(client, "ph=7.20")]
        soon(lambda: not _service(client).blobs.waiting())
        yield settings, client, sent


def _service(client):
    return client.app.state.service


def _post(client, orders):
    photo = a_photo(orders)
    answer = client.post("/api/batches/1/readings", files={"photo": ("a.jpg", photo)})
    assert answer.status_code == 200, answer.text
    return photo


def _sha(photo):
    return hashlib.sha256(photo).hexdigest()


def _checked(settings):
    with closing(Database(settings.database_url, read_only=True)) as log:
        return check_log(log, settings.data)


def _log(*words):
    return CliRunner().invoke(command, list(words), catch_exceptions=True)


def _gone_from_here(settings):
    """Another computer, or copies that were tidied away: only the store has the photos."""
    shutil.rmtree(settings.data / "photos")
    (settings.data / "photos" / "incoming").mkdir(parents=True)


@pytest.mark.slow
def test_photos_are_in_the_store_and_all_that_needs_them_fetches_them(bench, bucket, tmp_path):
    settings, client, sent = bench
    assert bucket.photos() == {f"{_sha(p)[:2]}/{_sha(p)}": p for p in sent}
    _gone_from_here(settings)
    assert client.get("/api/readings/1/thumbnail").status_code == 200
    assert client.post("/api/batches/1/reread").json()["same"] == 2
    assert client.get("/api/batches/1/report.html").text.count("data:image/jpeg") == 2
    assert (settings.data / "photos" / _sha(sent[1])[:2] / _sha(sent[1])).read_bytes() == sent[1]
    _gone_from_here(settings)
    found = _checked(settings)
    assert (found.faults, found.photos, found.orphans, found.strays) == ((), 2, (), ())
    with bench_backup(client, tmp_path) as file:
        back = restore(file, tmp_path / "back")
    assert back.check.whole
    assert {p.name for p in (tmp_path / "back" / "photos").rglob("*") if p.is_file()} == {_sha(p) for p in sent}


class bench_backup:  # noqa: N801 - a context
    def __init__(self, client, folder):
        self._file = folder / "b.tar"
        self._file.write_bytes(client.get("/api/backup").content)

    def __enter__(self):
        return self._file

    def __exit__(self, *_):
        self._file.unlink()


def test_the_check_finds_what_was_done_to_the_store(bench, bucket):
    settings, _client, sent = bench
    first, second = map(_sha, sent)
    bucket.fs.pipe_file(bucket.place(first), sent[0] + b"!")
    bucket.fs.rm_file(bucket.place(second))
    orphan = a_photo()
    bucket.fs.pipe_file(bucket.place(_sha(orphan)), orphan)
    bucket.fs.pipe_file(f"{bucket.name}/bench/letter.txt", b"x")
    bucket.fs.pipe_file(f"{bucket.name}/bench/{first[:2]}/other", b"x")
    found = _checked(settings)
    assert sorted(fault.split(" ", 2)[1] for fault in found.faults) == sorted((first, second))
    assert any(f"photo {first} is not what it was" in fault for fault in found.faults)
    assert any(f"photo {second} is missing in the store; a copy is in" in fault for fault in found.faults)
    assert found.orphans == (_sha(orphan),)
    assert sorted(found.strays) == sorted(["letter.txt", f"{first[:2]}/other"])


def test_a_photo_changed_in_the_store_is_not_shown(bench, bucket):
    settings, client, sent = bench
    bucket.fs.pipe_file(bucket.place(_sha(sent[0])), a_photo())
    _gone_from_here(settings)
    answer = client.get("/api/readings/1/photo")
    assert (answer.status_code, answer.json()["code"]) == (409, "photo_changed")


def test_no_post_is_lost_or_doubled_while_the_store_is_away(bench, bucket, soon):
    settings, client, sent = bench
    bucket.away()
    key = {"Idempotency-Key": "once"}
    twice = a_photo("ph=8.00")
    for _unused in range(2):
        answer = client.post("/api/batches/1/readings", files={"photo": ("a.jpg", twice)}, headers=key)
        assert answer.status_code == 200
    more = [twice, *(_post(client, f"ph={5 + n}.00") for n in range(4))]
    assert sorted(_service(client).blobs.waiting()) == sorted(map(_sha, more))
    assert client.get("/api/readings/3/thumbnail").status_code == 200  # what is here is shown
    _gone_from_here(settings)
    assert client.get("/api/readings/4/photo").status_code == 200  # also from the folder of what waits
    answer = client.get("/api/readings/1/photo")
    assert (answer.status_code, answer.json()["code"]) == (503, "store_away")
    assert answer.headers["retry-after"] == "30"
    refused = _log("check", "--data", str(settings.data))
    assert refused.exit_code == 1
    assert "can't be used now" in str(refused.exception)
    bucket.back()
    soon(lambda: not _service(client).blobs.waiting())
    assert bucket.photos() == {f"{_sha(p)[:2]}/{_sha(p)}": p for p in [*sent, *more]}
    assert len(client.get("/api/batches/1/readings").json()) == 7
    assert _checked(settings).faults == ()


@pytest.mark.slow
def test_what_waits_as_a_service_ends_is_sent_after_its_next_start(bucket, soon, tmp_path):
    settings = replace(settings_in(tmp_path), photos=bucket.url)
    with TestClient(create_app(settings)) as client:
        client.post("/api/batches", json={"name": "b"})
        bucket.away()
        photo = _post(client, "ph=6.00")
    _service(client).blobs._sender.join(60)  # a last try may be under way still
    bucket.back()
    assert bucket.photos() == {}
    with TestClient(create_app(replace(settings, photos=None, reader=LaterReader))) as client:  # the folder remembers
        soon(lambda: bucket.photos() == {f"{_sha(photo)[:2]}/{_sha(photo)}": photo})
        assert client.post("/api/batches/1/reread").json()["changes"][0]["now"]["ph"] == 6.5


def test_copies_are_kept_within_their_bound_and_none_that_waits_is_removed(bench, bucket, soon):
    _settings, client, sent = bench
    blobs = _service(client).blobs
    bucket.away()
    waiting = _post(client, "ph=4.00")
    blobs._bound = 1
    with pytest.MonkeyPatch.context() as monkeypatch:
        monkeypatch.setattr("service.log.photos.away._IN_USE", -60.0)
        with pytest.raises(StoreAway):  # no copy is removed on trust
            blobs.tidy()
        assert set(blobs.all()) == {*map(_sha, sent), _sha(waiting)}
        bucket.back()
        soon(lambda: not list(blobs.all()))  # those that wait are sent, then all are tidied away
        assert not blobs.waiting()
    for number in (1, 3):  # a copy that was just asked for stays a while
        assert client.get(f"/api/readings/{number}/photo").status_code == 200
    blobs.tidy()
    assert set(blobs.all()) == {_sha(sent[0]), _sha(waiting)}


@pytest.mark.slow
def test_a_folder_of_photos_goes_to_the_store_and_back(bucket, tmp_path):
    settings = settings_in(tmp_path)
    with TestClient(create_app(settings)) as client:
        client.post("/api/batches", json={"name": "b"})
        sent = [_post(client, "ph=6.50"), _post(client, "ph=7.20")]
        names = {f"{_sha(p)[:2]}/{_sha(p)}": p for p in sent}
    data = ("--data", str(settings.data))
    bucket.away()
    refused = _log("photos", "--to", bucket.url, *data)
    assert refused.exit_code == 1
    assert not (settings.data / "photos.json").exists()
    bucket.back()
    moved = _log("photos", "--to", bucket.url, *data)
    assert moved.exit_code == 0, moved.exception
    assert f"2 photos moved, each held against its hash\n{bucket.url}" in moved.output
    assert bucket.photos() == names
    assert json.loads((settings.data / "photos.json").read_text()) == {"store": bucket.url}
    other = _log("photos", "--to", "s3://another/place", *data)
    assert "takes them back first" in str(other.exception)
    _gone_from_here(settings)
    assert _log("photos", "--to", "folder", *data).exit_code == 0
    here = settings.data / "photos"
    assert {str(p.relative_to(here)): p.read_bytes() for p in here.rglob("*") if p.is_file()} == names
    assert not (settings.data / "photos.json").exists()
    assert _checked(settings).faults == ()


def test_a_photo_that_is_lost_keeps_the_log_in_its_store(bench, bucket, tmp_path):
    settings, client, sent = bench
    client.__exit__(None, None, None)
    _gone_from_here(settings)
    bucket.fs.rm_file(bucket.place(_sha(sent[0])))
    refused = _log("photos", "--to", "folder", "--data", str(settings.data))
    assert "is lost or damaged" in str(refused.exception)
    assert (settings.data / "photos.json").exists()


def test_a_damaged_file_of_the_place_sends_no_photo_elsewhere(tmp_path):
    settings = settings_in(tmp_path)
    settings.data.mkdir()
    (settings.data / "photos.json").write_text("{}")
    with pytest.raises(CallError, match="is damaged"):
        blobs_of(settings.data)
