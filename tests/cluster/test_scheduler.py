"""The connection to a scheduler, which a made-up client stands for: away it is asked once, lost it is closed."""

import sys
from types import SimpleNamespace

import pytest

from service.readers.cluster.scheduler import ClusterLost, ClusterWorkers


class Client:
    """As ``distributed.Client``: connects as it is made."""

    def __init__(self, url, **_how):
        Client.asked += 1
        if Client.away:
            raise OSError(f"Timed out trying to connect to {url}")
        self.status = "running"
        self.closed = False
        Client.made.append(self)

    def nthreads(self):
        return {"one": 1, "two": 2}

    def close(self, timeout=None):
        self.closed = True
        if self.status != "running":
            raise TimeoutError("it does not answer")


def _forget():
    Client.asked, Client.away, Client.made = 0, False, []


@pytest.fixture
def workers(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", SimpleNamespace(Client=Client))
    _forget()
    return ClusterWorkers("tcp://127.0.0.1:9", None)


def test_a_scheduler_that_is_away_is_asked_once_for_all_who_wait(workers, monkeypatch):
    assert (workers.at_once, Client.asked) == (3, 1)
    Client.away = True
    Client.made[0].status = "connecting"
    for _unused in range(5):
        with pytest.raises(ClusterLost):
            workers._connected()
    assert Client.asked == 2
    Client.away = False
    monkeypatch.setattr("service.readers.cluster.scheduler.time.monotonic", lambda: workers._not_before)
    assert workers._connected() is Client.made[1]
    assert Client.asked == 3


def test_a_lost_connection_is_closed_before_another_is_made(workers):
    first = workers._connected()
    assert workers._connected() is first
    first.status = "connecting"
    second = workers._connected()
    assert second is not first
    assert (first.closed, second.closed) == (True, False)
    workers.close()
    assert second.closed
