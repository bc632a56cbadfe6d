"""Calibrations under way: one process works on them, so that photos are read and the page stays quick meanwhile.

A run that is not waited for is followed by its row in the log; it can be cancelled, and a service that ends meanwhile
says so at its next start.
"""

from __future__ import annotations

import asyncio
import json
import logging
from collections.abc import Callable
from concurrent.futures import TimeoutError as PoolTimeout
from concurrent.futures.process import BrokenProcessPool
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

from pebble import ProcessExpired, ProcessPool
from sqlalchemy.exc import SQLAlchemyError

from service.errors import BenchBusy, Conflict, ServiceError
from service.log.calibrations import runs, versions
from service.log.database import Database
from service.readers.calibrating.jobs import LearnJob, Result, learn_job
from service.readers.pictures import no_reader
from service.readers.pool import process_pool, stopping
from service.readers.threads import in_thread
from service.readers.worker import work
from stripread.errors import CallError
from stripread.words import _

log = logging.getLogger("stripread.calibrating")
T = TypeVar("T")
LONGEST = 600.0  # seconds for one job: sixty times what thirty photos take
MOST_WAITING = 8
_STANDS_BACK = 10  # of nice(2): readers have 5


class UnderWay:
    """One worker process for calibrations, started with its first job. To be used from one event loop.

    Parameters
    ----------
    folder
        Where a worker writes how far it is, and photos wait that were not looked at yet; made if missing.
    memory
        Address space of the worker in bytes, or None.
    """

    def __init__(self, database: Database, folder: Path, memory: int | None) -> None:
        self._database = database
        self.folder = folder
        self._memory = memory
        self._pool: ProcessPool | None = None
        self._tasks: dict[int, asyncio.Task[None]] = {}
        self._waiting = 0
        self._stopping = False
        folder.mkdir(parents=True, exist_ok=True)
        for left in folder.iterdir():  # of a service that was killed
            left.unlink(missing_ok=True)
        with database.write() as c:
            runs.break_off(c)

    async def do(self, function: Callable[[Any, Any], T], job: Any) -> T:  # noqa: ANN401 - what the function takes
        """Run ``function(None, job)`` in the worker, after what was asked before.

        Raises
        ------
        BenchBusy
            When too much waits, the service stops, or the worker was ended.
        Conflict
            When the job itself can't be done: too few photos, no profile.
        """
        if self._stopping:
            raise stopping()
        if self._waiting >= MOST_WAITING:
            raise BenchBusy("busy", _("Too many calibrations are waiting. Try again in a moment."), 5)
        self._waiting += 1
        try:
            future = self._living().schedule(work, args=(function, job, LONGEST / 2), timeout=LONGEST)
            result: T = await asyncio.wrap_future(future)
        except CallError as wrong:
            raise Conflict("not_enough", f"{str(wrong).rstrip('.')}.") from None
        except (PoolTimeout, ProcessExpired, BrokenProcessPool):
            self._end_pool()
            raise BenchBusy(
                "calibrating_ended", _("The process that calibrates ended. Nothing is lost: start it again."), 5
            ) from None
        finally:
            self._waiting -= 1
        return result

    def begin(self, run: int, job: LearnJob) -> None:
        """Start working out a profile for a run that is written down; whoever asked need not wait."""
        task = asyncio.create_task(self._follow(run, job))
        self._tasks[run] = task
        task.add_done_callback(lambda _: self._tasks.pop(run, None))

    def progress_file(self, run: int) -> Path:
        """Where the worker writes how far a run is."""
        return self.folder / f"run-{run}.json"

    def progress(self, run: int) -> dict[str, Any] | None:
        """How far a run is: its stage ("photos", "curve"), and how many photos are done of how many."""
        try:
            found = json.loads(self.progress_file(run).read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return None
        return found if isinstance(found, dict) else None

    async def cancel(self, run: int) -> bool:
        """Stop a run; whether it was under way."""
        task = self._tasks.get(run)
        if task is None:
            return False
        task.cancel()
        await asyncio.wait([task])
        return True

    async def stop(self) -> None:
        """End what is under way; it can be started again after the next start."""
        self._stopping = True
        for run in list(self._tasks):
            await self.cancel(run)
        self._end_pool()

    async def _follow(self, run: int, job: LearnJob) -> None:
        try:
            result = await self.do(learn_job, job)
        except asyncio.CancelledError:
            state: runs.State = "failed" if self._stopping else "cancelled"
            await self._end(run, state, {"why": runs.SERVICE_ENDED if self._stopping else runs.CANCELLED})
        except ServiceError as problem:
            await self._end(run, "failed", {"why": problem.detail, "code": problem.code})
        except Exception:
            log.exception("calibration run %d failed", run)
            await self._end(run, "failed", {"why": runs.OUR_FAULT, "code": "calibrating_failed"})
        else:
            await self._end(run, "done", result.found, result)
        finally:
            self.progress_file(run).unlink(missing_ok=True)

    async def _end(self, run: int, state: runs.State, found: dict[str, Any], result: Result | None = None) -> None:
        for wait in (0.2, 1.0, 5.0, None):  # a log that is busy now takes it a little later
            try:
                await asyncio.shield(in_thread(partial(self._write_end, run, state, found, result)))
            except (BenchBusy, SQLAlchemyError, OSError):
                if wait is None:
                    log.exception("the end of calibration run %d could not be written", run)
                    return
                await asyncio.sleep(wait)
            else:
                return

    def _write_end(self, run: int, state: runs.State, found: dict[str, Any], result: Result | None) -> None:
        """Profile, version and end of the run in one transaction: all of them, or none."""
        with self._database.write() as c:
            version = None
            if result is not None:
                version = versions.add_version(c, result.text, result.name, "calibrated", run)
            runs.end_run(c, run, state, found, None if version is None else version["profile_sha256"])

    def _living(self) -> ProcessPool:
        if self._pool is None or not self._pool.active:
            self._pool = process_pool(no_reader, 1, memory=self._memory, max_tasks=500, nice=_STANDS_BACK)
        return self._pool

    def _end_pool(self) -> None:
        pool, self._pool = self._pool, None
        if pool is not None:
            pool.stop()  # type: ignore[no-untyped-call]
            pool.join()
