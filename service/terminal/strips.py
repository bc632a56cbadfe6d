"""Many photos in one call: on all cores, in order, with a progress bar."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING

from stripread.errors import CallError
from stripread.ph.profile import Profile
from stripread.results import PhReading

if TYPE_CHECKING:
    from stripread.ph.circumstances import Circumstances
    from stripread.ph.combined_reading import ObservedPhoto

_profile: Profile | None = None  # of this worker process
_said: Circumstances | None = None


def read_many(photos: Sequence[Path], profile: Profile, overlays: Sequence[Path | None]) -> Iterator[PhReading]:
    """Read the photos in their order; each overlay path that is not None gets a picture of its reading."""
    for seen in see_many(photos, profile, overlays):
        yield seen.reading


def see_many(
    photos: Sequence[Path], profile: Profile, overlays: Sequence[Path | None], said: Circumstances | None = None
) -> Iterator[ObservedPhoto]:
    """Read the photos in their order and keep of each what a joint reading needs; ``said`` goes for all of them."""
    jobs = list(zip(photos, overlays, strict=True))
    workers = min(len(jobs), os.cpu_count() or 1)
    if workers <= 1:
        for photo, overlay in jobs:
            yield _read_one(photo, overlay, profile, said)
        return
    from tqdm import tqdm  # noqa: PLC0415 - only where there is something to wait for

    with (
        ProcessPoolExecutor(workers, get_context("spawn"), _start, (profile, said)) as pool,
        tqdm(total=len(jobs), unit="photo", file=sys.stderr, disable=not sys.stderr.isatty()) as bar,
    ):
        for seen in pool.map(_in_worker, jobs, chunksize=max(1, min(8, len(jobs) // (4 * workers)))):
            bar.update()
            yield seen


def _start(profile: Profile, said: Circumstances | None) -> None:
    global _profile, _said  # one profile a process, sent once instead of with every photo
    import cv2  # noqa: PLC0415

    cv2.setNumThreads(1)  # one process a core already
    _profile, _said = profile, said


def _in_worker(job: tuple[Path, Path | None]) -> ObservedPhoto:
    assert _profile is not None
    return _read_one(*job, _profile, _said)


def _read_one(photo: Path, overlay: Path | None, profile: Profile, said: Circumstances | None) -> ObservedPhoto:
    from stripread.ph.combined_reading import observed_photo  # noqa: PLC0415
    from stripread.ph.read import trace_ph  # noqa: PLC0415 - a worker pays for it once, the command's start never

    try:
        data = photo.read_bytes()
    except OSError as problem:
        raise CallError(f"can't read {photo}: {problem.strerror}") from None
    trace = trace_ph(data, profile, str(photo))
    assert trace.reading is not None
    if said is not None:
        from stripread.ph.circumstances import with_circumstances  # noqa: PLC0415

        trace.reading = with_circumstances(trace.reading, profile.kind, said)
    if overlay is not None:
        from stripread.picture.of_ph import ph_picture  # noqa: PLC0415

        try:
            overlay.write_bytes(ph_picture(trace, profile))
        except OSError as problem:
            raise CallError(f"can't write {overlay}: {problem.strerror}") from None
    return observed_photo(trace)
