"""The parts of a running service, made once at the start and handed to the routes."""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any, BinaryIO

from fastapi import Depends, Request

from service.authority.keeper import Keeper
from service.folder_lock import only_one
from service.log.blobs import Blobs
from service.log.database import Database
from service.log.photos.place import blobs_of, settled
from service.log.profiles import Profiles
from service.readers.calibrating.under_way import UnderWay
from service.readers.intake import Intake
from service.readers.photo_reader import PipelineReader
from service.readers.pictures import no_reader
from service.readers.pool import WorkPool
from service.settings import Settings
from service.web.door.demo_beside import DemoBeside
from service.web.door.names import certificate_names
from service.web.kept_pictures import KeptPictures
from service.web.pairing import Pairing
from service.web.rates import Buckets
from service.web.stopping import Stopping
from service.web.watching.metrics import Metrics
from stripread.errors import CallError
from stripread.words import _

_STANDS_BACK = (
    15  # of nice(2); readers have 5: a reader gets about nine times the processor time of a drawing beside it
)


@dataclass(frozen=True)
class Service:
    """Everything that a request may need. A pool each: pictures, drawings and photos to read don't queue together."""

    settings: Settings
    database: Database
    blobs: Blobs
    profiles: Profiles
    pairing: Pairing
    readers: WorkPool
    pictures: WorkPool
    drawings: WorkPool
    kept: KeptPictures
    metrics: Metrics
    picture_rate: Buckets
    drawing_rate: Buckets
    intake: Intake
    calibrating: UnderWay
    stopping: Stopping
    one_backup: threading.Lock  # one at a time: each reads all photos
    keeper: Keeper | None  # of the certificates of the port with TLS
    demo: DemoBeside
    lock: BinaryIO  # held as long as the service runs

    @classmethod
    def start(cls, settings: Settings) -> Service:
        """Open the log and start the workers."""
        settings.data.mkdir(parents=True, exist_ok=True)
        lock = only_one(settings.data)
        own_tls = settings.https_port is not None
        keeper = Keeper(settings.data, lambda: certificate_names(settings)) if own_tls else None
        database = Database(settings.database_url, settings.database_wait, connections=settings.connections)
        database.migrate()
        if settings.photos is not None:
            settled(settings.data, settings.photos)
        blobs = blobs_of(settings.data)
        blobs.sweep()
        blobs.start_sending()
        profiles = Profiles(settings, database)
        make = settings.reader or PipelineReader
        memory = settings.worker_memory
        readers = _readers(settings, make)
        # What only shows stands back behind what reads, in the processor's time as well.
        shows = no_reader if settings.reader is None else make
        pictures = WorkPool(shows, 1, 64, settings.reading_timeout, memory, nice=_STANDS_BACK)
        # A drawing takes as long as a reading: one at a time, and few may wait.
        drawings = WorkPool(make, 1, 12, settings.reading_timeout, memory, nice=_STANDS_BACK)
        metrics = Metrics()
        metrics.look_at(database, blobs, readers)
        intake = Intake(database, blobs, readers, profiles, settings.same_photo_window, metrics.logged)
        return cls(
            settings=settings,
            database=database,
            blobs=blobs,
            profiles=profiles,
            pairing=Pairing(database, settings),
            readers=readers,
            pictures=pictures,
            drawings=drawings,
            kept=KeptPictures(settings.data / "derived", settings.kept_pictures),
            metrics=metrics,
            picture_rate=Buckets(settings.pictures_per_minute),
            drawing_rate=Buckets(settings.drawings_per_minute),
            intake=intake,
            calibrating=UnderWay(database, settings.data / "calibrating", memory),
            stopping=Stopping(),
            one_backup=threading.Lock(),
            keeper=keeper,
            demo=DemoBeside(settings),
            lock=lock,
        )

    async def settle(self) -> None:
        """Begin nothing more, and see what is being read to its answer, but not for ever."""
        pools = (self.readers, self.pictures, self.drawings)
        self.stopping.begin()
        for pool in pools:
            pool.stop_taking()
        until = time.monotonic() + self.settings.stop_within
        while any(pool.taken for pool in pools) and time.monotonic() < until:
            await asyncio.sleep(0.02)
        for pool in pools:
            pool.give_up()
        await self.intake.drain()  # what was read is being logged: a wait for the database has its own bound

    async def stop(self) -> None:
        """Finish what is under way, then end the workers."""
        self.demo.stop()
        await self.intake.drain()
        await self.calibrating.stop()
        self.readers.close()
        self.pictures.close()
        self.drawings.close()
        self.blobs.close()
        self.database.close()
        self.lock.close()


def _readers(settings: Settings, make: Callable[[], Any]) -> WorkPool:
    if settings.cluster is None:
        return WorkPool(make, settings.workers, settings.waiting, settings.reading_timeout, settings.worker_memory)
    from service.readers.cluster.pool import ClusterPool  # noqa: PLC0415
    from service.readers.cluster.scheduler import ClusterLost  # noqa: PLC0415 - an extra

    try:
        return ClusterPool(settings.cluster, make, settings.waiting, settings.reading_timeout)
    except ClusterLost as problem:
        raise CallError(
            _("the cluster {url} does not answer: {problem}", url=settings.cluster, problem=problem)
        ) from None


async def _of_request(request: Request) -> Service:  # async: a plain function would cost a hop to a thread
    service = request.app.state.service
    assert isinstance(service, Service)
    return service


ServiceDep = Annotated[Service, Depends(_of_request)]
