"""A logged reading at the end of its strip's range: the gate and the forecast know which end, by the kept profile."""

from __future__ import annotations

import pytest

from service.log import store
from service.log.course.forecast import wash_readings
from service.log.course.state import observations
from service.log.database import Database

PROFILE = 'name = "roll"\n[kind]\nrange = [5.5, 9.0]\n'


@pytest.fixture
def log(tmp_path):
    database = Database(f"sqlite:///{tmp_path / 'log.sqlite'}")
    database.migrate()
    yield database
    database.close()


@pytest.mark.parametrize(
    ("interval", "profile", "whole", "bounds"),
    [
        ([5.5, 5.9], PROFILE, (0.0, 5.9), [-1]),
        ([8.7, 9.0], PROFILE, (8.7, 14.0), [1]),
        ([8.7, 9.0], 'name = "without its range"\n', (0.0, 14.0), []),  # which end nobody knows: it counts for nothing
    ],
)
def test_the_end_is_known_by_the_profile_that_the_log_keeps(log, interval, profile, whole, bounds):
    reading = {
        "photo": "strip.jpg",
        "kind": "ph",
        "status": "doubtful",
        "ph": sum(interval) / 2,
        "interval": interval,
        "reasons": [{"code": "end_of_range", "severity": "doubt", "message": "In whatever words."}],
        "software": "stripread",
        "sha256": "a" * 64,
    }
    with log.write() as c:
        number = store.add_batch(c, "a batch")
        sha256 = f"{abs(hash(profile)):064x}"
        new = store.NewEntry(number, "ph", "photo", "a" * 64, 1, reading, wash=2, profile=(sha256, profile))
        store.add_entry(c, new)
        batch, rows = store.batch(c, number), store.entries_of(c, number)
        (seen,) = observations(c, batch, rows)
        assert seen.open_interval() == whole
        readings, _ = wash_readings(c, batch, rows)
        assert [r.bound for r in readings] == bounds
