"""Many photos on all cores: in order, and a process that is killed takes no photo with it."""

import os
import signal

import pytest

from service.readers.in_order import in_order
from stripread.errors import CallError


def _double(_, job):
    number, marks = job
    mark = None if marks is None else marks / f"{number}"
    if mark is not None and not mark.exists():
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return 2 * number


def _always_killed(_, job):
    if job == 1:
        os.kill(os.getpid(), signal.SIGKILL)
    return job


@pytest.fixture(autouse=True)
def _two_cores(monkeypatch):
    monkeypatch.setattr(os, "cpu_count", lambda: 2)


def test_results_come_in_order_and_a_killed_process_loses_none(tmp_path):
    jobs = [(number, tmp_path if number in (1, 4) else None) for number in range(6)]
    assert list(in_order(dict, _double, jobs)) == [0, 2, 4, 6, 8, 10]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["1", "4"]  # both were killed once


@pytest.mark.slow
def test_what_kills_its_process_twice_ends_the_call_in_one_sentence():
    found = in_order(dict, _always_killed, [0, 1, 2])
    assert next(found) == 0
    with pytest.raises(CallError, match="ended twice"):
        next(found)
