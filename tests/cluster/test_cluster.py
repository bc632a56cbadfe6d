"""Photos read by a real Dask cluster in processes: by the service, by `reread`; a worker that dies meanwhile."""

import json
import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from service.commands.log_care.reread_archive import reread_archive
from service.log import store
from service.log.database import Database
from service.log.photos.place import blobs_of, use_store
from service.web.app import create_app
from stripread.errors import CallError
from tests.archive.logs import made_log, wanted
from tests.photos.conftest import bucket  # noqa: F401 - a fixture
from tests.server.conftest import a_photo, settings_in
from tests.server.running import free_port

ROOT = Path(__file__).resolve().parents[2]


class Cluster:
    """A scheduler, and workers that can be killed and started one by one, as on other computers."""

    def __init__(self):
        self.url = f"tcp://127.0.0.1:{free_port()}"
        self._scheduler = self._start("scheduler", "--host", self.url, "--dashboard-address", "127.0.0.1:0")
        self.workers = []

    @staticmethod
    def _start(*words, **more):
        call = [sys.executable, "-m", "distributed.cli.dask_" + words[0], *words[1:]]
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        environment = {**os.environ, "PYTHONPATH": str(ROOT), **more}
        return subprocess.Popen(call, cwd=ROOT, env=environment, start_new_session=True, **quiet)

    def work(self, **environment):
        more = ("--nthreads", "1", "--no-nanny", "--no-dashboard", "--memory-limit", "0")
        self.workers.append(self._start("worker", self.url, *more, **environment))

    def wait(self, many):
        from distributed import Client

        with Client(self.url, timeout=60, set_as_default=False) as client:
            client.wait_for_workers(many, timeout=60)

    def kill_one(self):
        worker = self.workers.pop(0)
        worker.send_signal(signal.SIGKILL)
        worker.wait()

    def end(self):
        for process in (*self.workers, self._scheduler):
            process.kill()
            process.wait()


@pytest.fixture(scope="module")
def cluster():
    made = Cluster()
    try:
        made.work()
        made.work()
        made.wait(2)
        yield made
    finally:
        made.end()


@pytest.mark.slow
def test_a_worker_that_dies_loses_nothing_and_doubles_nothing(cluster, tmp_path, capsys):
    settings = replace(settings_in(tmp_path), cluster=cluster.url, reading_timeout=60)
    photos = [a_photo("slow=0.3") for _unused in range(8)]
    with TestClient(create_app(settings)) as client:
        client.post("/api/batches", json={"name": "b"})

        def post(photo):
            return client.post("/api/batches/1/readings", files={"photo": ("a.jpg", photo)})

        with ThreadPoolExecutor(8) as phones:
            answers = [phones.submit(post, photo) for photo in photos]
            time.sleep(0.5)  # both workers are at it
            cluster.kill_one()
            said = [answer.result() for answer in answers]
        assert [answer.status_code for answer in said] == [200] * 8
        assert len({answer.json()["log"]["id"] for answer in said}) == 8
        assert len(client.get("/api/batches/1/readings").json()) == 8
        # A fault of the photo and one of the profile are told as by the readers of this computer.
        assert post(a_photo("refuse")).json()["status"] == "refused"
        assert post(a_photo("break")).json()["code"] == "reader_failed"
    # The archive, too, with a worker that dies and another one that comes.
    log = made_log(tmp_path / "archive" / "data", each=20, slow=0.1)
    here, far = tmp_path / "here", tmp_path / "far"
    cluster.work()
    cluster.wait(2)
    killing = threading.Timer(0.6, cluster.kill_one)
    killing.start()
    reread_archive(log, wanted(far, cluster=cluster.url), as_json=True)
    by_cluster = json.loads(capsys.readouterr().out)
    killing.join()
    reread_archive(log, wanted(here), as_json=True)
    by_own = json.loads(capsys.readouterr().out)
    assert {**by_cluster, "begun_at": 0} == {**by_own, "begun_at": 0}
    assert (far / "changes.csv").read_bytes() == (here / "changes.csv").read_bytes()
    lines = [json.loads(line)["entry"] for line in (far / "readings.jsonl").read_text().splitlines()[1:]]
    assert len(lines) == len(set(lines)) == by_own["read"]


@pytest.mark.slow
def test_workers_fetch_from_the_store_and_one_that_can_not_is_sent_the_photos(
    bucket,  # noqa: F811
    tmp_path,
    capsys,
    caplog,
):
    """moto is the store. The keys are in the workers' environments alone; one has those of a store that is away."""
    log = made_log(tmp_path / "data", each=12)
    reread_archive(log, wanted(tmp_path / "here"), as_json=True)
    by_own = json.loads(capsys.readouterr().out)
    use_store(log.data, bucket.url)
    with closing(blobs_of(log.data)) as blobs:
        blobs.send()
    shutil.rmtree(log.data / "photos")
    (log.data / "photos").mkdir()
    made = Cluster()
    try:
        made.work()
        made.work(FSSPEC_S3_ENDPOINT_URL=f"http://127.0.0.1:{free_port()}")
        made.wait(2)
        reread_archive(log, wanted(tmp_path / "far", cluster=made.url), as_json=True)
        assert {**json.loads(capsys.readouterr().out), "begun_at": 0} == {**by_own, "begun_at": 0}
        assert "can't fetch photos" in caplog.text
        # What lies in a photo's place and is another one is lost, as in a folder.
        with closing(Database(log.database_url)) as database, database.read() as c:
            sha256 = store.entries_of(c, 2)[0]["photo_sha256"]
        bucket.fs.pipe_file(bucket.place(sha256), b"another")
        reread_archive(log, wanted(tmp_path / "again", cluster=made.url), as_json=True)
        again = json.loads(capsys.readouterr().out)
        assert again["read"] == by_own["read"] - 1
    finally:
        made.end()


def test_a_cluster_that_does_not_answer_is_one_line(tmp_path, monkeypatch):
    monkeypatch.setattr("service.readers.cluster.scheduler._CONNECT_S", 0.3)
    log = made_log(tmp_path / "data", each=1)
    with pytest.raises(CallError, match=r"the cluster tcp://127.0.0.1:9 does not answer"):
        reread_archive(log, wanted(tmp_path / "out", cluster="tcp://127.0.0.1:9"), as_json=True)
    with pytest.raises(CallError) as wrong:
        reread_archive(log, wanted(tmp_path / "out", cluster="pigeons://coop"), as_json=True)
    assert "\n" not in str(wrong.value)
