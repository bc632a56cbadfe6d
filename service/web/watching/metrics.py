"""The figures of a running service, in the registry of the Prometheus client library.

Names by that project's conventions (its documentation, "Metric and label naming"): a prefix of the program, base units
in the name, ``_total`` for what only grows. No label holds what a client sends, so that their number stays bounded.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from typing import Any

from prometheus_client import (
    CollectorRegistry,
    Counter,
    GCCollector,
    Histogram,
    Info,
    PlatformCollector,
    ProcessCollector,
)
from prometheus_client.core import GaugeMetricFamily, Metric
from prometheus_client.registry import Collector
from sqlalchemy.exc import SQLAlchemyError

from service.log import store
from service.log.blobs import Blobs
from service.log.database import Database
from service.readers.pool import WorkPool
from stripread import __version__

# Seconds: a photo takes some 60 ms alone, a look at the log a few; 60 s is a reading's own bound.
_SECONDS = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0, 30.0, 60.0)


class Metrics:
    """Counters that the service adds to, and gauges that are asked for when somebody looks."""

    def __init__(self) -> None:
        self.registry = CollectorRegistry()
        ProcessCollector(registry=self.registry)
        PlatformCollector(registry=self.registry)
        GCCollector(registry=self.registry)
        Info("stripread_build", "Version of the program.", registry=self.registry).info({"version": __version__})
        self._requests = Counter(
            "stripread_http_requests_total",
            "Requests answered, by method, route and status.",
            ("method", "route", "status"),
            registry=self.registry,
        )
        self._seconds = Histogram(
            "stripread_http_request_duration_seconds",
            "Time from a request's head to the end of its answer.",
            ("method", "route"),
            buckets=_SECONDS,
            registry=self.registry,
        )
        self._readings = Counter(
            "stripread_readings_total",
            "Photos read and logged, by kind and status.",
            ("kind", "status"),
            registry=self.registry,
        )
        self._reading_seconds = Histogram(
            "stripread_reading_duration_seconds",
            "Time that the reading itself took.",
            ("kind",),
            buckets=_SECONDS,
            registry=self.registry,
        )

    def answered(self, method: str, route: str, status: int, seconds: float) -> None:
        """A request was answered; ``route`` is its path as the service declares it."""
        self._requests.labels(method, route, str(status)).inc()
        self._seconds.labels(method, route).observe(seconds)

    def logged(self, reading: dict[str, Any]) -> None:
        """A photo was read and is in the log."""
        self._readings.labels(reading["kind"], reading["status"]).inc()
        self._reading_seconds.labels(reading["kind"]).observe(float(reading["seconds"]))

    def look_at(self, database: Database, blobs: Blobs, readers: WorkPool) -> None:
        """Ask these for the gauges."""
        self.registry.register(_Now(database, blobs, readers))


class _Now(Collector):
    def __init__(self, database: Database, blobs: Blobs, readers: WorkPool) -> None:
        self._database, self._blobs, self._readers = database, blobs, readers

    def describe(self) -> list[Metric]:
        return []  # the log is not asked before somebody looks

    def collect(self) -> Iterator[Metric]:
        asked: tuple[tuple[str, str, Callable[[], float]], ...] = (
            ("stripread_photos_being_read", "Photos that are being read or wait for a reader.", self._taken),
            ("stripread_photos_to_send", "Photos that wait to be sent to their store.", self._waiting),
            ("stripread_log_up", "Whether the log could be asked (1) or not (0).", self._up),
            ("stripread_log_entries", "Number of the log's newest entry.", self._entries),
        )
        for name, about, ask in asked:
            with contextlib.suppress(SQLAlchemyError, OSError):  # a figure that can't be had is not there
                yield GaugeMetricFamily(name, about, value=ask())

    def _taken(self) -> float:
        return self._readers.taken

    def _waiting(self) -> float:
        return len(self._blobs.waiting())

    def _up(self) -> float:
        try:
            self._entries()
        except SQLAlchemyError:
            return 0.0
        return 1.0

    def _entries(self) -> float:
        with self._database.read() as c:
            return store.newest_entry(c)
