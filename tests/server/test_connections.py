"""Connections that mean harm: slow heads, bodies after their answer, answers not taken, too many at once."""

import socket
import time

import pytest

from service.web.connection import Bounds, bounded
from tests.server.calls import HTTP
from tests.server.running import Running

BOUNDS = {"head": 1.0, "after_answer": 1.0, "answer": 2.0}


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    with Running(tmp_path_factory.mktemp("connections"), total=60, **BOUNDS) as running:
        yield running


def _connect(server) -> socket.socket:
    connection = socket.create_connection(("127.0.0.1", server.port))
    connection.settimeout(8)
    return connection


def _ends_within(connection: socket.socket, trickle: bytes = b"") -> float:
    """Seconds until the other side has ended it, while a byte is sent every fifth of a second."""
    started = time.monotonic()
    connection.settimeout(0.2)
    while time.monotonic() - started < 8:
        try:
            if trickle:
                connection.sendall(trickle)
            if connection.recv(65536) == b"":
                break
        except TimeoutError:
            continue
        except OSError:
            break
    connection.close()
    return time.monotonic() - started


def _told(connection: socket.socket, status: bytes) -> bool:
    """Whether an answer with this status comes; head and body may come apart, and the rest of an earlier one first."""
    seen = b""
    while status not in seen:
        more = connection.recv(65536)
        if not more:
            return False
        seen += more
    return True


def test_a_connection_that_says_nothing_is_ended(server):
    assert 0.5 < _ends_within(_connect(server)) < 3


def test_a_head_that_trickles_in_is_ended_and_others_are_served_meanwhile(server):
    slow = [_connect(server) for _ in range(20)]
    for connection in slow:
        connection.sendall(b"GET / HTTP/1.1\r\nHost: localhost\r\nX-Slow: ")
    started = time.monotonic()
    assert HTTP.get(f"{server.url}/healthz", timeout=5).status_code == 200
    assert time.monotonic() - started < 1
    assert _ends_within(slow[0], b"a") < 3
    assert all(_ends_within(connection) < 3 for connection in slow[1:])


def test_the_second_request_of_a_connection_has_the_same_clock(server):
    connection = _connect(server)
    connection.sendall(b"GET /healthz HTTP/1.1\r\nHost: localhost\r\n\r\n")
    assert _told(connection, b" 200 ")
    time.sleep(1.5)  # idle between requests: longer than a head may take, and allowed
    connection.sendall(b"GET /healthz HTTP/1.1\r\nHost: localhost\r\n\r\n")
    assert _told(connection, b" 200 ")
    connection.sendall(b"GET /hea")
    assert _ends_within(connection, b"l") < 3


def test_a_body_that_goes_on_after_its_answer_is_ended(server):
    connection = _connect(server)
    connection.sendall(b"POST /api/batches HTTP/1.1\r\nHost: evil.example\r\nContent-Length: 1000000\r\n\r\n{")
    assert b" 421 " in connection.recv(65536).split(b"\r\n")[0]
    assert _ends_within(connection, b"x") < 3


def test_an_answer_that_is_not_taken_is_ended(server):
    connection = socket.socket()
    connection.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    connection.connect(("127.0.0.1", server.port))
    whole = 300 * len(HTTP.get(f"{server.url}/uplot.js", headers={"Accept-Encoding": "identity"}).content)
    for _ in range(300):  # pipelined: far more than the system's buffers hold
        connection.sendall(b"GET /uplot.js HTTP/1.1\r\nHost: localhost\r\n\r\n")
    time.sleep(4)
    connection.settimeout(5)
    got = 0
    try:
        while chunk := connection.recv(65536):
            got += len(chunk)
    except ConnectionResetError:
        pass
    connection.close()
    assert 0 < got < whole / 2


def test_an_overlong_head_is_refused(server):
    connection = _connect(server)
    connection.sendall(b"GET / HTTP/1.1\r\nHost: localhost\r\nX-Long: " + b"a" * 100_000)
    assert b" 431 " in connection.recv(65536).split(b"\r\n")[0]
    connection.close()


@pytest.mark.parametrize(
    "head",
    [
        b"GET / HTTP/1.1\r\nHost: localhost\r\nX-Long: " + b"a" * 17_000 + b"\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: localhost\r\n" + b"".join(b"X-%d: aaaaaaaa\r\n" % n for n in range(1200)) + b"\r\n",
        b"GET /?" + b"a" * 17_000 + b" HTTP/1.1\r\nHost: localhost\r\n\r\n",
    ],
)
def test_an_overlong_head_that_comes_whole_is_refused_too(server, head):
    connection = _connect(server)
    connection.sendall(head)
    assert _told(connection, b" 431 ")
    connection.close()


def test_a_head_of_fifteen_kilobytes_passes(server):
    assert HTTP.get(f"{server.url}/healthz", headers={"X-Long": "a" * 15_000}, timeout=5).status_code == 200


def test_connections_are_counted(server):
    held = [_connect(server) for _ in range(80)]  # of 60
    time.sleep(0.3)
    ended = [c for c in held if _is_ended(c)]
    assert 15 <= len(ended) <= 25
    for connection in held:
        connection.close()
    time.sleep(0.3)
    assert HTTP.get(f"{server.url}/healthz", timeout=5).status_code == 200


def _is_ended(connection: socket.socket) -> bool:
    connection.settimeout(0.01)
    try:
        return connection.recv(1) == b""
    except TimeoutError:
        return False
    except OSError:
        return True


def test_each_service_counts_its_own(tmp_path):
    first, second = bounded(Bounds(each=1)), bounded(Bounds(each=2))
    assert first.open_by is not second.open_by
    assert (first.limits.each, second.limits.each) == (1, 2)


@pytest.mark.slow
def test_more_than_two_hundred_at_once_are_told_so(tmp_path):
    with Running(tmp_path) as server:
        held = [_connect(server) for _ in range(205)]
        time.sleep(0.3)
        held[-1].sendall(b"GET /healthz HTTP/1.1\r\nHost: localhost\r\n\r\n")
        assert _told(held[-1], b" 503 ")
        for connection in held:
            connection.close()
        time.sleep(0.5)
        assert HTTP.get(f"{server.url}/healthz", timeout=5).status_code == 200


@pytest.mark.slow
def test_an_idle_connection_is_closed(tmp_path):
    with Running(tmp_path) as server:
        connection = _connect(server)
        connection.sendall(b"GET /healthz HTTP/1.1\r\nHost: localhost\r\n\r\n")
        assert _told(connection, b" 200 ")
        connection.settimeout(25)
        started = time.monotonic()
        while connection.recv(65536):
            pass
        connection.close()
        assert 15 < time.monotonic() - started < 23
