"""Photos left in their store for the workers of a cluster: named by hash, fetched there, else sent from here."""

import hashlib
import io
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import closing

import pytest

from service.log.blobs import Blobs
from service.log.photos.away import StoredBlobs
from service.log.photos.store import Store, StoreAway
from service.readers.archive.workers import PhotoFailed, outcome_of
from service.readers.cluster.left_in_store import LeftInStore, NotFetched, PhotoGone, fetch
from service.readers.cluster.parcel import open_and_work, packed
from service.readers.cluster.scheduler import ClusterWorkers
from service.readers.worker import Job

PHOTO = b"a photo"
SHA = hashlib.sha256(PHOTO).hexdigest()


def nothing():
    return None


def content(_made, job):
    return job.photo.read_bytes()


@pytest.fixture
def left(tmp_path):
    """A store (a folder by its URL) that has the photo; none of it in the folder of the log."""
    data = tmp_path / "data"
    store = Store(f"file://{tmp_path / 'store'}")
    store.put(SHA, PHOTO)
    (data / "photos").mkdir(parents=True)
    return LeftInStore(StoredBlobs(data / "photos", store, reading=True))


class Cluster:
    """As ``distributed.Client``, its workers threads of this process, which reach no store where ``away``."""

    status = "running"

    def __init__(self, away=False):
        self.away, self.parcels, self._threads = away, [], ThreadPoolExecutor(2)

    def nthreads(self):
        return {"one": 2}

    def submit(self, function, *args, pure):
        assert not pure
        parcel = args[-1]
        self.parcels.append(parcel)
        return self._threads.submit(self._work, function, *args)

    def _work(self, function, *args):
        if self.away and args[-1].left:
            raise NotFetched("no route to it")
        return function(*args)

    def close(self):
        self._threads.shutdown()


@pytest.fixture
def cluster(left, monkeypatch):
    made = Cluster()
    monkeypatch.setattr(ClusterWorkers, "_connected", lambda _self: made)
    with closing(ClusterWorkers("tcp://127.0.0.1:9", nothing, 5.0, left)) as workers:
        yield made, workers
    made.close()


def _job(left):
    return Job("ph", left.here(SHA), "a.jpg")


def test_a_job_names_the_photo_and_a_worker_fetches_it(left):
    parcel = packed(_job(left), left)
    assert parcel.files == {}
    assert list(parcel.left.values()) == [SHA]
    assert open_and_work(nothing, content, parcel) == PHOTO
    sent = packed(_job(left), left, fetched=True)
    assert (list(sent.files.values()), sent.left) == ([PHOTO], {})


def test_a_photo_with_a_copy_here_is_sent(left):
    Blobs(left.root).keep(io.BytesIO(PHOTO))
    parcel = packed(_job(left), left)
    assert (list(parcel.files.values()), parcel.left) == ([PHOTO], {})


def test_what_is_not_what_its_hash_says_is_gone_and_never_read(left, tmp_path):
    (tmp_path / "store" / SHA[:2] / SHA).write_bytes(b"another")
    with pytest.raises(PhotoGone):
        open_and_work(nothing, content, packed(_job(left), left))
    with pytest.raises(PhotoGone):
        fetch(left.url, "0" * 64)


def test_workers_fetch_and_nothing_is_sent(cluster, left):
    made, workers = cluster
    assert workers.work(content, _job(left)).result(10) == PHOTO
    assert [bool(parcel.left) for parcel in made.parcels] == [True]


def test_workers_that_reach_no_store_are_sent_the_photos_and_left_none_in_the_end(cluster, left, caplog):
    made, workers = cluster
    made.away = True
    for _n in range(8):
        assert workers.work(content, _job(left)).result(10) == PHOTO
    assert [bool(parcel.left) for parcel in made.parcels] == 5 * [True, False] + 3 * [False]
    assert caplog.text.count("no route to it") == 1


def test_a_store_that_is_away_from_here_too_stops_the_archive(cluster, left, monkeypatch):
    made, workers = cluster
    made.away = True

    def away(_sha256):
        raise StoreAway(left.url, "away")

    monkeypatch.setattr(left.blobs.store, "get", away)
    job = _job(left)
    with pytest.raises(StoreAway):
        outcome_of(workers, job, workers.work(content, job))


def test_a_photo_that_is_gone_is_one_photo_s_failure(cluster, left, tmp_path):
    _made, workers = cluster
    (tmp_path / "store" / SHA[:2] / SHA).unlink()
    job = _job(left)
    failed: Future[bytes] = workers.work(content, job)
    with pytest.raises(PhotoFailed) as told:
        outcome_of(workers, job, failed)
    assert isinstance(told.value.__cause__, PhotoGone)


def test_a_store_that_can_not_be_opened_is_one_that_is_not_reached():
    with pytest.raises(NotFetched, match="s3://BUCKET/FOLDER"):
        fetch("nowhere", SHA)
