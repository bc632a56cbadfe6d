"""Pictures to show: a thumbnail, and the photo without what it tells about its owner.

Both are made anew from pixels: not a byte of the file itself is copied, so nothing hidden in it can come along. The
original stays as it was sent, as evidence, in the data folder; nothing here is stored instead of it.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from service.readers.worker import Job
from stripread.errors import Refused

THUMBNAIL = 320


class NotAPicture(Exception):  # noqa: N818 - a verdict on the file
    """This file can't be shown as a picture."""


def thumbnail(photo: Path) -> bytes:
    """A small upright JPEG without any metadata.

    Raises
    ------
    NotAPicture
        If it can't be decoded within the bounds.
    """
    from stripread.photo import open_photo, thumbnail_jpeg  # noqa: PLC0415 - only workers load the decoders

    try:
        return thumbnail_jpeg(open_photo(photo.read_bytes(), quick=True), THUMBNAIL, 80)
    except (Refused, OSError) as problem:
        raise _verdict(problem) from None


def clean(photo: Path) -> bytes:
    """The photo as an upright JPEG with its pixels, a known colour profile, and nothing else.

    Raises
    ------
    NotAPicture
        If it can't be decoded within the bounds.
    """
    from stripread.photo import clean_jpeg  # noqa: PLC0415

    try:
        return clean_jpeg(photo.read_bytes())
    except (Refused, OSError) as problem:
        raise _verdict(problem) from None


def _verdict(problem: Exception) -> Exception:
    """Errors of decoders have no number; one with a number is of the disk, and not the file's fault."""
    of_disk = isinstance(problem, OSError) and problem.errno is not None
    return problem if of_disk else NotAPicture(str(problem))


def thumbnail_job(_: Any, job: Job) -> bytes:  # noqa: ANN401
    """``thumbnail`` in a worker."""
    return thumbnail(job.photo)


def clean_job(_: Any, job: Job) -> bytes:  # noqa: ANN401
    """``clean`` in a worker."""
    return clean(job.photo)


def no_reader() -> None:
    """What the pictures' worker is made with: nothing."""
