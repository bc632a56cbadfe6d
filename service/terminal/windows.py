"""Many photos of the card's windows in one call: on all cores, in order, with a progress bar."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any, Literal

from stripread.errors import CallError

Sort = Literal["tint", "solid"]
Job = tuple[Sort, Path, Path | None, Any]


def run_many(sort: Sort, photos: Sequence[Path], overlays: Sequence[Path | None], ask: Any) -> Iterator[Any]:  # noqa: ANN401
    """Read the photos in their order. ``ask`` is a ``TintRequest`` for a tint, a region in mm or None for a solid.

    Raises
    ------
    CallError
        If a photo is missing or can't be read.
    """
    for photo in photos:
        if not photo.is_file():
            raise CallError(f"no such photo: {photo}")
    jobs: list[Job] = [(sort, photo, overlay, ask) for photo, overlay in zip(photos, overlays, strict=True)]
    workers = min(len(jobs), os.cpu_count() or 1)
    if workers <= 1:
        yield from map(_one, jobs)
        return
    from tqdm import tqdm  # noqa: PLC0415 - only where there is something to wait for

    with (
        ProcessPoolExecutor(workers, get_context("spawn"), _start) as pool,
        tqdm(total=len(jobs), unit="photo", file=sys.stderr, disable=not sys.stderr.isatty()) as bar,
    ):
        for reading in pool.map(_one, jobs):
            bar.update()
            yield reading


def _start() -> None:
    import cv2  # noqa: PLC0415

    cv2.setNumThreads(1)  # one process a core already


def _one(job: Job) -> Any:  # noqa: ANN401 - a reading of the sort asked for
    from stripread.solid.read import trace_solid  # noqa: PLC0415 - a worker pays for it once
    from stripread.tint.read import trace_tint  # noqa: PLC0415

    sort, photo, overlay, ask = job
    try:
        data = photo.read_bytes()
    except OSError as problem:
        raise CallError(f"can't read {photo}: {problem.strerror}") from None
    trace: Any = trace_tint(data, ask, str(photo)) if sort == "tint" else trace_solid(data, str(photo), ask)
    if overlay is not None:
        from stripread.picture.of_windows import solid_picture, tint_picture  # noqa: PLC0415

        try:
            overlay.write_bytes(tint_picture(trace) if sort == "tint" else solid_picture(trace))
        except OSError as problem:
            raise CallError(f"can't write {overlay}: {problem.strerror}") from None
    return trace.reading
