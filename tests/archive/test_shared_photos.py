"""An archive whose photos lie in a store alone: what several entries share is there until the last of them was read."""

import io
from concurrent.futures import Future
from contextlib import closing

import pytest

from service.log import store
from service.log.blobs import Blobs
from service.log.database import Database
from service.log.photos.place import blobs_of, use_store
from service.readers.archive.asked import Asked
from service.readers.archive.made import Made
from service.readers.archive.run import Archive, read_archive
from service.readers.archive.shared_photos import SharedPhotos
from service.readers.worker import read_job
from service.settings import Settings
from tests.archive.logs import add
from tests.server.fake_reader import FakeReader

WASHES = 12


class BlankReader(FakeReader):
    """Opens the photo of the rinse water, too, as the real one does."""

    def read(self, job):
        assert job.blank[0].read_bytes() == b"FAKE:ph=7.00;"
        return super().read(job)


class Later:
    """Reads a photo when it is asked what came of it, so that all that are lined up have been fetched."""

    at_once = 1
    longest = None

    def read(self, job):
        future = Future()
        future.result = lambda _longest: read_job(BlankReader(), job)
        return future

    def close(self):
        pass


@pytest.fixture
def far_log(tmp_path):
    """Washes that share a blank, their photos on no disk of this computer."""
    settings = Settings(tmp_path / "data", reader=BlankReader)
    data = settings.data
    data.mkdir()
    with closing(Database(settings.database_url)) as database:
        database.migrate()
        with database.write() as c:
            batch = store.add_batch(c, "one")
            sha256, _size = Blobs(data / "photos").keep(io.BytesIO(b"FAKE:ph=7.00;"))
            blank = {"blank": {"entry": 1, "sha256": sha256, "photo": "water.jpg"}}
            for wash in range(WASHES):
                add(c, data, batch, "ph=7.60", wash=wash + 1, extras=blank)
    use_store(data, f"file://{tmp_path}/far")
    blobs = blobs_of(data)
    assert blobs.send() == WASHES + 1
    for photo in list(blobs.all()):
        blobs.path(photo).unlink()
    return settings


def _read_again(far_log, tmp_path):
    """The lines of a run, and the photos that it left on this computer."""
    with (
        closing(Made(tmp_path)) as made,
        closing(Database(far_log.database_url, read_only=True)) as database,
        closing(blobs_of(far_log.data, reading=True)) as blobs,
    ):
        asked = made.begin(Asked(software="test", begun_at="2026-01-01T00:00:00+00:00", up_to=WASHES, head=""))
        archive = Archive(database, blobs, tmp_path / "profiles")
        read_archive(archive, asked, made, Later(), lambda _done, _of: None)
        return list(made.lines()), list(blobs._fetched.all())


def test_a_blank_that_many_strips_share_is_there_until_the_last_was_read(far_log, tmp_path):
    lines, left = _read_again(far_log, tmp_path)
    assert [line["reading"]["status"] for line in lines] == ["ok"] * WASHES
    assert left == []  # nothing that was fetched stays


def test_a_photo_that_is_another_one_in_the_store_is_lost_and_stops_nothing(far_log, tmp_path):
    with closing(Database(far_log.database_url, read_only=True)) as database, database.read() as c:
        sha256 = store.entry(c, 5)["photo_sha256"]
    (tmp_path / "far" / sha256[:2] / sha256).write_bytes(b"another one")
    lines, left = _read_again(far_log, tmp_path)
    assert sum("reading" in line for line in lines) == WASHES - 1
    assert {"entry": 5, "missing": True} in lines
    assert left == []


def test_what_is_lent_twice_is_given_back_twice():
    forgotten = []

    class Told:
        forget = staticmethod(forgotten.append)

    lent = SharedPhotos(Told())
    lent.take(["a", "b"])
    lent.take(["b"])
    lent.give_back(["a", "b"])
    assert forgotten == ["a"]
    lent.give_back(["b"])
    assert forgotten == ["a", "b"]
