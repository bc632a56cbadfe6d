"""A job with everything that it names, in one parcel for another computer; opened there, read, and thrown away."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeVar

from service.readers.cluster.left_in_store import LeftInStore, fetch, is_left
from service.readers.worker import Job
from stripread.errors import CallError
from stripread.results import SOFTWARE
from stripread.words import _

T = TypeVar("T")


class OtherVersion(CallError):  # noqa: N818 - what it is, in the house's words
    """A worker has another version of this program than who asks it."""


@dataclass(frozen=True)
class Parcel:
    """A job, and what is in the files that it names, by their names here.

    ``left`` are photos that the worker fetches from the store at ``store`` (a URL) itself: hashes, by their names here.
    """

    job: Job
    files: dict[str, bytes]
    software: str = SOFTWARE
    left: dict[str, str] = field(default_factory=dict)
    store: str = ""


def packed(job: Job, left: LeftInStore | None = None, *, fetched: bool = False) -> Parcel:
    """The job with its files; what is ``left`` in a store is only named, unless it is to be ``fetched`` here.

    Raises
    ------
    OSError
        If one can't be read.
    """
    if left is None:
        return Parcel(job, {str(path): path.read_bytes() for path in _paths(job)})
    far = [] if fetched else [path for path in _paths(job) if is_left(path)]
    files = {str(path): left.fetched(path).read_bytes() for path in _paths(job) if path not in far}
    return Parcel(job, files, left={str(path): path.name for path in far}, store=left.url)


def _paths(job: Job) -> list[Path]:
    found = [job.photo]
    found += [] if job.profile is None else [job.profile]
    found += [] if job.blank is None else [job.blank[0]]
    return found + ([] if job.cells is None else [job.cells.path])


def open_and_work(make: Callable[[], Any], function: Callable[[Any, Job], T], parcel: Parcel) -> T:
    """What a worker of the cluster does: the files into a folder of its own, the job on them, the folder gone.

    Raises
    ------
    OtherVersion
        If the worker has another version of this program: its readings would be others.
    NotFetched, PhotoGone
        If it can't reach the store of a photo that was left there, or the store has not got it.
    """
    if parcel.software != SOFTWARE:
        raise OtherVersion(
            _(
                "a worker of the cluster has {theirs}, and {ours} asks: install the same version there",
                theirs=SOFTWARE,
                ours=parcel.software,
            )
        )
    with tempfile.TemporaryDirectory(prefix="stripread-") as folder:
        places: dict[str, Path] = {}
        files = {**parcel.files, **{name: fetch(parcel.store, sha256) for name, sha256 in parcel.left.items()}}
        for number, (name, content) in enumerate(files.items()):
            # Photos are named by their hash alone: a profile keeps its ending, its name is its hash, too.
            places[name] = Path(folder) / f"{number}-{Path(name).name}"
            places[name].write_bytes(content)
        return function(_made(make), _there(parcel.job, places))


def _there(job: Job, places: dict[str, Path]) -> Job:
    return replace(
        job,
        photo=places[str(job.photo)],
        profile=None if job.profile is None else places[str(job.profile)],
        blank=None if job.blank is None else (places[str(job.blank[0])], job.blank[1]),
        cells=None if job.cells is None else replace(job.cells, path=places[str(job.cells.path)]),
    )


@lru_cache(maxsize=4)
def _made(make: Callable[[], Any]) -> Any:  # noqa: ANN401
    """What ``make`` makes, once in each worker process."""
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    import cv2  # noqa: PLC0415

    cv2.setNumThreads(1)  # a worker a core already
    return make()
