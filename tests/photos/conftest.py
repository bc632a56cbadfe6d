"""An S3-compatible server (moto, from the registry) on a free port, with a bucket of its own for each test."""

from __future__ import annotations

import itertools
import socket
import time

import pytest

_count = itertools.count(1)


class Bucket:
    """A bucket of a server that can be away for a while: its photos outlive that, as a real store's do."""

    def __init__(self, name: str) -> None:
        from moto.server import ThreadedMotoServer

        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self._server = ThreadedMotoServer
        self.address = f"http://127.0.0.1:{self.port}"
        self.url = f"s3://{name}/bench"
        self.name = name
        self.back()
        self.fs = self._client()
        self.fs.mkdir(name)

    def _client(self):
        import s3fs

        return s3fs.S3FileSystem(
            key="k", secret="s", endpoint_url=self.address, use_listings_cache=False, skip_instance_cache=True
        )

    def back(self) -> None:
        self._running = self._server(ip_address="127.0.0.1", port=self.port, verbose=False)
        self._running.start()

    def away(self) -> None:
        self._running.stop()

    def photos(self) -> dict[str, bytes]:
        """What it has, by the names below the log's folder."""
        found = self.fs.find(f"{self.name}/bench")
        # Empty as it is listed and filled a moment later, the folder itself is what s3fs finds.
        return {name.split("/", 2)[2]: self.fs.cat_file(name) for name in found if name != f"{self.name}/bench"}

    def place(self, sha256: str) -> str:
        return f"{self.name}/bench/{sha256[:2]}/{sha256}"


@pytest.fixture
def bucket(monkeypatch):
    made = Bucket(f"photos-{next(_count)}")
    monkeypatch.setenv("FSSPEC_S3_ENDPOINT_URL", made.address)
    monkeypatch.setenv("AWS_ACCESS_KEY_ID", "k")
    monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", "s")
    yield made
    made.away()


@pytest.fixture
def soon(monkeypatch):
    """A store that is away is asked again at once, and what waits is sent at once; gives a wait for a fact."""
    monkeypatch.setattr("service.log.photos.store.RESTS", 0.1)
    monkeypatch.setattr("service.log.photos.away._FIRST_WAIT", 0.1)
    monkeypatch.setattr("service.log.photos.away._LONGEST_WAIT", 0.3)

    def wait(fact) -> None:
        until = time.monotonic() + 20
        while not fact():
            assert time.monotonic() < until, "it did not come to that"
            time.sleep(0.05)

    return wait
