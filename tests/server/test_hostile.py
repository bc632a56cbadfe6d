"""Uploads that mean harm end within the bounds that docs/threat-model.md lists."""

import io
import socket
import struct
import time
import zlib

import pytest
from fastapi.testclient import TestClient

from service.web.app import create_app
from tests.server.conftest import a_photo, settings_in
from tests.server.running import Running


def _png(width: int, height: int, rows: bytes) -> bytes:
    def chunk(name, body):
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(rows, 9)) + chunk(b"IEND", b"")


BOMBS = {
    "a png of 2.5 gigapixels": _png(50_000, 50_000, b"\0" * 50_001 * 200),
    "a png that says it is small and unpacks to 100 MB": _png(10, 10, b"\0" * 100_000_000),
    "a jpeg of 65500 x 65500": b"\xff\xd8\xff\xc0\x00\x11\x08\xff\xdc\xff\xdc\x03\x01\x22\x00\x02\x11\x01\x03\x11\x01"
    + b"\0" * 500
    + b"\xff\xd9",
    "a script that begins as a picture": b"\xff\xd8\xff\xe0<script>alert(1)</script>",
    "a page": b"<!doctype html><script>alert(1)</script>",
    "an svg": b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>",
    "an archive": b"PK\x03\x04" + b"\0" * 2000,
    "one byte": b"\xff",
}


@pytest.mark.parametrize("name", BOMBS)
def test_bombs_and_disguises_are_never_served_as_what_they_are(send, client, name):
    entry = send(BOMBS[name] + f"{name} FAKE:refuse;".encode()).json()["log"]["id"]
    for what in ("photo", "thumbnail"):
        started = time.monotonic()
        served = client.get(f"/api/readings/{entry}/{what}")
        assert time.monotonic() - started < 10
        assert served.headers["x-content-type-options"] == "nosniff"
        if served.status_code == 200:
            assert served.headers["content-type"] == "image/jpeg"
            assert b"script" not in served.content
        else:
            assert (served.status_code, served.json()["code"]) == (409, "not_a_picture")


def test_a_body_over_the_limit_is_refused(client, batch):
    big = b"\xff\xd8" + b"\0" * client.app.state.service.settings.max_body
    refused = client.post(f"/api/batches/{batch}/readings", files={"photo": ("a.jpg", big)})
    assert (refused.status_code, refused.json()["code"]) == (413, "too_large")
    assert client.get(f"/api/batches/{batch}/readings").json() == []


def test_a_body_without_a_length_is_counted(client, batch):
    def endless():
        yield b'--x\r\nContent-Disposition: form-data; name="photo"; filename="a"\r\n\r\n'
        for _ in range(80):
            yield b"\0" * 1024 * 1024

    headers = {"Content-Type": "multipart/form-data; boundary=x"}
    refused = client.post(f"/api/batches/{batch}/readings", content=endless(), headers=headers)
    assert (refused.status_code, refused.json()["code"]) == (413, "too_large")


@pytest.mark.parametrize("part", ['name="n{}"', 'name="photo"; filename="f{}"'])
def test_ten_thousand_parts_are_refused(client, batch, part):
    one = b"--x\r\nContent-Disposition: form-data; %s\r\n\r\nv\r\n"
    body = b"".join(one % part.format(n).encode() for n in range(10_000)) + b"--x--\r\n"
    headers = {"Content-Type": "multipart/form-data; boundary=x"}
    started = time.monotonic()
    refused = client.post(f"/api/batches/{batch}/readings", content=body, headers=headers)
    assert refused.status_code == 400
    assert refused.headers["content-type"] == "application/problem+json"
    assert time.monotonic() - started < 5


def test_a_field_as_large_as_a_photo_is_refused(client, batch):
    files = {"photo": ("a.jpg", a_photo())}
    assert client.post(f"/api/batches/{batch}/readings", files=files, data={"note": "x" * 100_000}).status_code == 400


NAMES = ["../../../etc/passwd", "/etc/passwd", "..\\..\\x", "a" * 1000, "\u202egpj.exe", "%2e%2e%2f", ".."]


@pytest.mark.parametrize("name", NAMES)
def test_names_are_never_paths(send, data, name):
    def files():
        return {p for p in data.parent.rglob("*") if "photos" not in p.parts and not p.name.startswith("log.sqlite3")}

    send()  # the first photo brings the log's own folders and its copy of the profile
    before = files()
    assert len(send(name=name).json()["photo"]) <= 120
    assert files() == before


@pytest.mark.parametrize("path", ["/../pyproject.toml", "/..%2f..%2fpyproject.toml", "/page/../app.py", "//etc/passwd"])
def test_nothing_but_the_pages_files_is_served(client, path):
    assert client.get(path).status_code in (401, 404)


@pytest.mark.slow
def test_slow_bodies_are_cut_off_and_others_are_served_meanwhile(tmp_path):
    with Running(tmp_path, body_idle=1.0) as server:
        slow = [_begin(server) for _ in range(20)]
        started = time.monotonic()
        from httpx2 import get

        assert get(f"{server.url}/healthz", timeout=5).status_code == 200
        assert time.monotonic() - started < 1
        for connection in slow:
            connection.settimeout(10)
            said = io.BytesIO()
            while chunk := connection.recv(4096):
                said.write(chunk)
            assert b" 408 " in said.getvalue().split(b"\r\n")[0]
            connection.close()


@pytest.mark.slow
def test_a_body_that_trickles_in_for_ever_is_cut_off(tmp_path):
    with Running(tmp_path, body_idle=5.0, body_total=1.5) as server:
        connection = _begin(server)
        connection.settimeout(0.2)
        started, said = time.monotonic(), b""
        while b"\r\n" not in said and time.monotonic() - started < 8:
            connection.sendall(b"x")
            try:
                said += connection.recv(4096)
            except TimeoutError:
                continue
        connection.close()
    assert b" 408 " in said.split(b"\r\n")[0]
    assert 1.0 < time.monotonic() - started < 5


def test_posts_of_one_device_are_limited(tmp_path):
    with TestClient(create_app(settings_in(tmp_path, posts_per_minute=3))) as client:
        answers = [client.post("/api/batches", json={"name": str(n)}) for n in range(5)]
        assert [a.status_code for a in answers] == [201, 201, 201, 429, 429]
        assert answers[3].json()["code"] == "too_often"
        assert 1 <= int(answers[3].headers["retry-after"]) <= 60
        assert client.get("/api/batches").status_code == 200  # looking is not posting


def test_a_photo_that_finds_no_memory_is_asked_for_later_and_the_next_is_read(tmp_path):
    with TestClient(create_app(settings_in(tmp_path, worker_memory=1024 * 1024 * 1024))) as client:
        client.post("/api/batches", json={"name": "b"})
        path = "/api/batches/1/readings"
        assert client.post(path, files={"photo": ("a.jpg", a_photo("eat=100"))}).status_code == 200
        greedy = client.post(path, files={"photo": ("a.jpg", a_photo("eat=2000"))})
        assert (greedy.status_code, greedy.json()["code"]) == (503, "readers_ended")
        assert client.post(path, files={"photo": ("a.jpg", a_photo())}).status_code == 200


def _begin(server) -> socket.socket:
    connection = socket.create_connection(("127.0.0.1", server.port))
    connection.sendall(
        b"POST /api/batches/1/readings HTTP/1.1\r\nHost: localhost\r\nContent-Length: 100000\r\n"
        b"Content-Type: multipart/form-data; boundary=x\r\n\r\n--x\r\n"
    )
    return connection


def test_settings_bound_what_the_threat_model_says(tmp_path):
    settings = settings_in(tmp_path)
    assert settings.max_body == 64 * 1024 * 1024
    assert settings.max_parts == 16
