"""Whose fault it is that a photo of an archive was not read: its own, that of memory, or the cluster's."""

import signal
from concurrent.futures import Future
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path

import pytest
from pebble import ProcessExpired

from service.readers.archive.workers import PhotoFailed, outcome_of
from service.readers.cluster.parcel import OtherVersion
from service.readers.cluster.scheduler import ClusterLost, WorkersDied
from service.readers.worker import OUT_OF_MEMORY, Job
from stripread.errors import CallError

NEVER = "never"
JOB = Job("solid", Path("x.jpg"), "x.jpg")


class Readers:
    """Each call ends in the next of these."""

    def __init__(self, at_once, *ends):
        self.at_once = at_once
        self.longest = 0.05
        self._ends = iter(ends)

    def read(self, _job):
        future, end = Future(), next(self._ends)
        if end is NEVER:
            return future
        if isinstance(end, BaseException):
            future.set_exception(end)
        else:
            future.set_result(end)
        return future


def _outcome(at_once, *ends):
    readers = Readers(at_once, *ends)
    return outcome_of(readers, JOB, readers.read(JOB))


def _killed(code):
    return ProcessExpired("Abnormal termination", code=code)


@pytest.mark.parametrize("once", [_killed(-signal.SIGKILL), BrokenProcessPool(), TimeoutError(), ClusterLost("away")])
def test_what_ended_once_is_read_again(once):
    assert _outcome(2, once, "read") == "read"


@pytest.mark.parametrize("end", [_killed(-signal.SIGKILL), _killed(OUT_OF_MEMORY), BrokenProcessPool()])
def test_want_of_memory_stops_the_run_unless_it_reads_alone(end):
    with pytest.raises(CallError, match="--workers 1"):
        _outcome(2, end, end)
    with pytest.raises(PhotoFailed):
        _outcome(1, end, end)


@pytest.mark.parametrize("end", [_killed(9), _killed(-signal.SIGSEGV), TimeoutError(), WorkersDied("4 of them")])
def test_a_photo_that_ends_its_reader_twice_is_a_bad_photo(end):
    with pytest.raises(PhotoFailed):
        _outcome(2, end, end)


@pytest.mark.parametrize("end", [RuntimeError("a fault"), CallError("no profile"), OSError(5, "of the disk")])
def test_an_error_is_the_photos_at_once(end):
    with pytest.raises(PhotoFailed) as failed:
        _outcome(2, end)
    assert failed.value.__cause__ is end


def test_a_lost_cluster_and_another_version_stop_the_run():
    with pytest.raises(ClusterLost, match="away"):
        _outcome(2, ClusterLost("away"), ClusterLost("away"))
    with pytest.raises(OtherVersion):
        _outcome(2, OtherVersion("another"))


def test_a_cluster_whose_workers_are_gone_is_lost_after_a_while():
    assert _outcome(2, NEVER, "read") == "read"
    with pytest.raises(ClusterLost, match="no worker read a photo within"):
        _outcome(2, NEVER, NEVER)
