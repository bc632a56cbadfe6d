"""What runs inside a worker process. Nothing of the web or the database: a worker starts quickly and stays small."""

from __future__ import annotations

import math
import os
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal, Protocol, TypeVar

from service.readers.statement import StripStatement
from service.readers.taking import Taking

if sys.platform != "win32":
    import resource

Kind = Literal["ph", "tint", "solid", "cells"]
KINDS: tuple[Kind, ...] = ("ph", "tint", "solid", "cells")
# Seconds that a worker waits for the pool's pipe, twice; pebble's own are 60. One that is killed just as it takes a
# photo dies with the pipe's lock held, and the pool is only known to be broken when the next one has given up. Lower, a
# worker that others keep from the processor while it has the lock would be taken for a dead one.
PIPE_WAIT = 10.0
OUT_OF_MEMORY = 71  # exit code of a worker that had no more memory (sysexits.h: EX_OSERR)
J = TypeVar("J")
T = TypeVar("T")


@dataclass(frozen=True)
class CellsPhoto:
    """The photo that measures a tint's pair of vials.

    ``age_h``: hours from it to the tint by the log, for photos that carry no time. ``changed``: the vials were, since.
    """

    path: Path
    matching: Literal["blank", "swapped"]
    age_h: float | None = None
    changed: bool = False


@dataclass(frozen=True)
class Job:
    """One photo to read, as a worker gets it. ``profile`` is the log's own copy, so that it can't change meanwhile."""

    kind: Kind
    photo: Path
    name: str
    profile: Path | None = None
    path_mm: float | None = None  # optical path of a tint, mm
    taking: Taking = field(default_factory=dict)  # how a tint was made; of a photo of the vials: how they stand
    said: StripStatement = field(default_factory=StripStatement)  # of a strip
    blank: tuple[Path, str] | None = None  # photo of a strip dipped in the rinse water itself, and its name
    cells: CellsPhoto | None = None  # of a tint


@dataclass(frozen=True)
class Outcome:
    """What came of a photo: the reading's JSON object, and the curve's colours at that pH, CIELAB (P, 3).

    ``camera``: make and model by the photo's EXIF, empty where it names none; None where nobody looked.
    """

    reading: dict[str, Any]
    curve_lab: list[list[float]] | None = None
    camera: tuple[str, str] | None = None


class Reader(Protocol):
    """Reads photos in a worker process. Bad photos come back as refused readings; only a wrong call raises."""

    def read(self, job: Job) -> Outcome:
        """Read one photo."""
        ...

    def overlay(self, job: Job) -> bytes:
        """Draw the reading of one photo as a PNG."""
        ...


_made: Any = None  # of this worker process


def begin(make: Callable[[], Any], parent: int, memory: int | None, nice: int) -> None:
    """Set up a worker: polite to the page, bounded in memory, gone when the service is gone."""
    global _made  # noqa: PLW0603 - one a process, made once instead of for every photo
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(name, "1")  # a process each core already; read when the library is first loaded
    if sys.platform != "win32":  # it has neither: there a reading's time alone is bounded, by the pool
        os.nice(nice)
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))  # a worker over its budget leaves no picture of its memory
        if memory is not None:
            resource.setrlimit(resource.RLIMIT_AS, (memory, memory))
    import cv2  # noqa: PLC0415 - the service's own process never loads it
    import pebble  # noqa: PLC0415 - whose worker this is

    pebble.CONSTS.channel_lock_timeout = PIPE_WAIT
    cv2.setNumThreads(1)  # one process a core already
    threading.Thread(target=_end_with, args=(parent,), daemon=True).start()
    _made = make()


def _end_with(parent: int) -> None:
    while os.getppid() == parent:
        time.sleep(0.5)
    os._exit(0)


def work(function: Callable[[Any, J], T], job: J, budget: float | None = None) -> T:
    """Hand a job to a function, with what this worker was made with.

    ``budget``: seconds of processor time, whoever else the bench computer works for meanwhile; over it the system ends
    the worker by SIGXCPU. A worker that is out of memory ends: what it has gathered is no place to read the next photo.
    """
    _processor_time(budget)
    try:
        return function(_made, job)
    except Exception as trouble:
        if isinstance(trouble, MemoryError) or _is_opencvs_memory_error(trouble):
            os._exit(OUT_OF_MEMORY)
        raise
    finally:
        _processor_time(None)  # an idle worker's own clock must not end it days later


def _processor_time(budget: float | None) -> None:
    """Bound what this process still may use, in seconds; None: no more than it was started with."""
    if sys.platform != "win32":
        _, most = resource.getrlimit(resource.RLIMIT_CPU)
        until = most if budget is None else math.ceil(time.process_time() + budget)
        resource.setrlimit(resource.RLIMIT_CPU, (until, most))


def _is_opencvs_memory_error(trouble: Exception) -> bool:
    """Whether it is OpenCV's own error for it, ``cv::Error::StsNoMem``, which is no MemoryError."""
    return type(trouble).__module__ == "cv2" and getattr(trouble, "code", None) == -4


def nothing() -> None:
    """Do nothing: only to have the worker started."""


def read_job(reader: Reader, job: Job) -> Outcome:
    """Read one photo, in a worker, and see which camera took it."""
    return replace(reader.read(job), camera=camera_job(reader, job))


def camera_job(_: Any, job: Job) -> tuple[str, str]:  # noqa: ANN401
    """Make and model of the camera by a photo's EXIF, in a worker; both empty where it names none."""
    from stripread.photo import camera_of  # noqa: PLC0415 - only workers load the decoders

    return camera_of(job.photo.read_bytes())


def overlay_job(reader: Reader, job: Job) -> bytes:
    """Draw one reading, in a worker."""
    return reader.overlay(job)
