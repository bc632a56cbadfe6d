"""Told to stop under load: what is being read is answered, the rest is told when to come again, the end is 0."""

import signal
import socket
import time
from concurrent.futures import ThreadPoolExecutor

import pytest

from tests.server.calls import HTTP
from tests.server.conftest import a_photo
from tests.server.running import Running


def test_once_it_stops_every_request_is_told_to_come_again(own_client):
    own_client.portal.call(own_client.app.state.service.settle)
    for answer in (own_client.get("/api/batches"), own_client.post("/api/batches", json={"name": "b"})):
        assert (answer.status_code, answer.json()["code"]) == (503, "stopping")
        assert int(answer.headers["retry-after"]) > 0
        assert answer.headers["connection"] == "close"


def test_what_the_reader_has_is_answered_and_what_waits_is_not_begun(own_client):
    service = own_client.app.state.service
    own_client.post("/api/batches", json={"name": "b"})

    def post(_):
        return own_client.post("/api/batches/1/readings", files={"photo": ("a.jpg", a_photo("slow=0.8"))})

    post(0)  # the reader is there
    with ThreadPoolExecutor(3) as phones:
        posts = [phones.submit(post, n) for n in range(3)]
        _until(lambda: service.readers.taken == 3 and any(f.running() for f in list(service.readers._jobs)))
        own_client.portal.call(service.settle)
        codes = sorted(post.result().status_code for post in posts)
    assert codes == [200, 503, 503]


@pytest.mark.slow
def test_a_signal_under_load_and_phones_that_come_again(tmp_path):
    """Real sockets, a real signal. Phones post again by key after a restart: each photo is there once."""
    photos = {f"k{n}": a_photo("slow=2.0") for n in range(3)}
    with Running(tmp_path, workers=1) as server:
        HTTP.post(f"{server.url}/api/batches", json={"name": "b"})
        _post(server, "warm", a_photo())
        with socket.create_connection(("127.0.0.1", server.port)) as slow, ThreadPoolExecutor(3) as phones:
            slow.sendall(
                b"POST /api/batches/1/readings HTTP/1.1\r\nHost: localhost\r\nContent-Length: 100000\r\n"
                b"Content-Type: multipart/form-data; boundary=x\r\n\r\n--x\r\n"
            )
            posts = {key: phones.submit(_post, server, key, photo) for key, photo in photos.items()}
            _until(lambda: HTTP.get(f"{server.url}/healthz", timeout=5).json()["waiting"] == 3)
            time.sleep(0.2)  # the reader has the first
            server.process.send_signal(signal.SIGTERM)
            told = time.monotonic()
            time.sleep(0.2)
            late = _post(server, "late", a_photo())  # the door is still open, to say so
            came = {key: post.result() for key, post in posts.items()}
            slow.settimeout(5)
            assert b" 503 " in slow.recv(65536).split(b"\r\n")[0]
        assert server.process.wait(timeout=15) == 0
        assert time.monotonic() - told < 12
    read = {key for key, answer in came.items() if answer.status_code == 200}
    assert len(read) == 1
    for answer in [late, *(answer for key, answer in came.items() if key not in read)]:
        assert (answer.status_code, answer.json()["code"]) == (503, "stopping")
        assert int(answer.headers["retry-after"]) > 0
        assert answer.headers["connection"] == "close"
    with Running(tmp_path, workers=1) as server:
        assert len(_entries(server)) == 2  # the warming one, and the one that was read
        assert {_post(server, key, photo).status_code for key, photo in photos.items()} == {200}
        assert len(_entries(server)) == 4


@pytest.mark.slow
def test_a_reading_that_does_not_end_is_given_up_within_the_bound(tmp_path):
    with Running(tmp_path, workers=1) as server:
        HTTP.post(f"{server.url}/api/batches", json={"name": "b"})
        _post(server, "warm", a_photo())
        with ThreadPoolExecutor(1) as phones:
            post = phones.submit(_post, server, "k", a_photo("slow=40"))
            _until(lambda: HTTP.get(f"{server.url}/healthz", timeout=5).json()["waiting"] == 1)
            server.process.send_signal(signal.SIGTERM)
            answer = post.result()
        assert (answer.status_code, answer.json()["code"]) == (503, "stopping")
        assert server.process.wait(timeout=25) == 0


def _post(server, key, photo):
    url = f"{server.url}/api/batches/1/readings"
    return HTTP.post(url, files={"photo": ("a.jpg", photo)}, headers={"Idempotency-Key": key}, timeout=30)


def _entries(server):
    return HTTP.get(f"{server.url}/api/batches/1/readings", timeout=10).json()


def _until(true, seconds=10.0):
    deadline = time.monotonic() + seconds
    while not true() and time.monotonic() < deadline:
        time.sleep(0.05)
