"""The parts of a running service, made once at the start and handed to the routes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import Depends, Request
from sqlalchemy import Connection

from service import store
from service.blobs import Blobs
from service.database import Database
from service.intake import Intake
from service.pairing import Pairing
from service.pictures import no_reader
from service.problems import ServiceProblem
from service.profiles import Profiles
from service.settings import Settings
from service.work import WorkPool


@dataclass(frozen=True)
class Service:
    """Everything that a request may need. Two pools: pictures to look at don't queue behind photos to read."""

    settings: Settings
    database: Database
    blobs: Blobs
    profiles: Profiles
    pairing: Pairing
    readers: WorkPool
    pictures: WorkPool
    intake: Intake

    @classmethod
    def start(cls, settings: Settings) -> Service:
        """Open the log and start the workers."""
        settings.data.mkdir(parents=True, exist_ok=True)
        database = Database(settings.database_url)
        database.migrate()
        blobs = Blobs(settings.data / "photos")
        blobs.sweep()
        profiles = Profiles(settings)
        make = settings.reader or _pipeline_reader
        memory = settings.worker_memory
        readers = WorkPool(make, settings.workers, settings.waiting, settings.reading_timeout, memory)
        pictures = WorkPool(no_reader if settings.reader is None else make, 1, 64, settings.reading_timeout, memory)
        intake = Intake(database, blobs, readers, profiles, settings.same_photo_window)
        return cls(settings, database, blobs, profiles, Pairing(database, settings), readers, pictures, intake)

    async def stop(self) -> None:
        """Finish what is under way, then end the workers."""
        await self.intake.drain()
        self.readers.close()
        self.pictures.close()
        self.database.close()


def _pipeline_reader() -> Any:  # noqa: ANN401 - a Reader; its module loads only in the worker
    from service.reader import PipelineReader  # noqa: PLC0415

    return PipelineReader()


def _of_request(request: Request) -> Service:
    service = request.app.state.service
    assert isinstance(service, Service)
    return service


ServiceDep = Annotated[Service, Depends(_of_request)]


def the_batch(c: Connection, number: int) -> store.Row:
    """A batch that must exist.

    Raises
    ------
    ServiceProblem
        404 if it does not.
    """
    found = store.batch(c, number)
    if found is None:
        raise ServiceProblem(404, "no_such_batch", f"There is no batch {number}.")
    return found


def the_entry(c: Connection, number: int) -> store.Row:
    """An entry that must exist.

    Raises
    ------
    ServiceProblem
        404 if it does not.
    """
    found = store.entry(c, number)
    if found is None:
        raise ServiceProblem(404, "no_such_reading", f"There is no reading {number}.")
    return found
