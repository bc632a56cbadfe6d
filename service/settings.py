"""What the service needs to know, read once at the start and then fixed."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

MIB = 1024 * 1024


def _cores() -> int:
    return os.cpu_count() or 1


@dataclass(frozen=True)
class Bounds:
    """Times in seconds; connections at once, from one other device and in all."""

    head: float = 10.0  # from a request's first byte (or the connection's start) to the end of its headers
    after_answer: float = 5.0  # for a body whose answer was given already
    answer: float = 180.0  # for the other side to take what it was sent
    each: int = 64
    total: int = 400


@dataclass(frozen=True)
class Settings:
    """How one service runs. Times in seconds, sizes in bytes.

    Parameters
    ----------
    data
        Folder of the log: photos, kept profiles and, unless ``database`` is given, the SQLite file.
    database
        An SQLAlchemy URL; None for ``DATA/log.sqlite3``.
    profiles
        The pH profiles for new readings, one for each kind of strip, the usual one first; without any, pH photos are
        answered with a problem that says so.
    tint_standards
        Profile for the copper tint in mg/L; None leaves concentrations null.
    reader
        Called once in each worker process to make its ``Reader``; must be picklable (a class or function of a module).
    """

    data: Path
    database: str | None = None
    photos: str | None = None  # URL of the store of photos; None: where they are already, at first in the data folder
    connections: int = 16  # to a PostgreSQL at once; a further request waits for one
    database_wait: float = 5.0  # longest that one request waits for the log, whatever stands before it
    profiles: tuple[Path, ...] = ()
    tint_standards: Path | None = None
    reader: Callable[[], Any] | None = None
    host: str = "127.0.0.1"
    port: int = 8000
    lan: bool = False
    metrics_token: str | None = None  # with it other computers may ask for the figures, besides this one
    names: tuple[str, ...] = ()  # further host names that the page may be called by
    tls: bool = False  # with --cert: this port speaks TLS and no other
    https_port: int | None = None  # a second port, with a certificate of the service's own authority
    demo: bool = False  # the made-up workshop's log, not the user's
    demo_beside: bool = True  # the demo may be started beside it, from its page
    workers: int = field(default_factory=_cores)
    cluster: str | None = None  # URL of a Dask scheduler whose workers read the photos; None: processes of this one
    waiting: int = 16  # photos that may wait for a worker; a further one is answered 503
    coming_in: int = 32  # bodies that may come in or be worked on at once; bounds the memory that they take
    reading_timeout: float = 60.0
    worker_memory: int | None = 6 * 1024 * MIB  # address space of one worker
    max_body: int = 64 * MIB
    max_parts: int = 16
    body_idle: float = 15.0  # longest silence while a body comes in
    body_total: float = 180.0
    stop_within: float = 8.0  # what is being read when the service is told to stop gets its answer, or 503 after this
    connection: Bounds = field(default_factory=Bounds)
    same_photo_window: float = 60.0
    posts_per_minute: int = 240  # of one client
    joins_per_minute: int = 10  # of one address, or of one IPv6 network
    guesses_per_minute: int = 60  # tokens of one address that nobody knows yet
    link_joins: int = 10  # phones that one link lets in
    link_age: float = 12 * 3600.0  # and for how long: a day at the bench
    session_age: float = 180 * 24 * 3600.0  # a season at the bench
    sessions: int = 50  # phones at once; a further one shuts out the one that joined longest ago
    pictures_per_minute: int = 600  # photos and thumbnails made for one client; what is kept is not counted
    drawings_per_minute: int = 60
    kept_pictures: int = 256 * MIB  # thumbnails and drawings on the disk, together
    watch: Path | None = None
    watch_every: float = 2.0

    @property
    def database_url(self) -> str:
        """The SQLAlchemy URL in force."""
        return self.database or f"sqlite:///{self.data / 'log.sqlite3'}"
