"""What a caller of the library gave, checked: photos, paths, numbers, words. One sentence for whatever is wrong."""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, time
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

import numpy as np
from numpy.typing import NDArray

from stripread.errors import CallError
from stripread.ph.buffers import liquid_of
from stripread.ph.circumstances import Circumstances, dip_time
from stripread.photo import Source, fingerprint
from stripread.tint.conditions import Answer, Wash, Water
from stripread.words import _

if TYPE_CHECKING:
    from stripread.describe.result import StripDescription
    from stripread.results import PhReading, SolidReading, TintReading

AnyPath = str | os.PathLike[str]
Photo = AnyPath | bytes | NDArray[np.uint8]
Dipped = float | str | datetime | time

# What a number may be, as the commands' options have it: least, most, unit
BOUNDS = {
    "temperature_c": (0.0, 100.0, "°C"),
    "measured_mm": (20.0, 500.0, "mm"),  # of a bar of 100 mm: anything else is a slip, or another unit
    "path_mm": (0.1, 1000.0, "mm"),
    "retained_ml": (1e-3, 1e6, "mL"),
    "silver_g": (1e-4, 1e5, "g"),
    "dilution": (1.0, 1000.0, ""),
    "ammonia_ph": (-1.0, 15.0, ""),
    "waited_s": (0.0, 1e7, "s"),  # beyond any reading window: months
    "dipped_at": (0.0, 1e7, "s"),
    "beside": (0.0, 14.0, "pH"),
}


@dataclass(frozen=True)
class PhotoAgain:
    """A photo to be had again for its picture: a file is read again, what was given is kept hold of."""

    get: Callable[[], Source]
    sha256: str
    name: str

    def data(self) -> Source | None:
        """The bytes or pixels (H, W, 3), or None where they are gone or no longer those that were read."""
        try:
            data = self.get()
        except OSError:
            return None
        return data if fingerprint(data) == self.sha256 else None


@dataclass(frozen=True)
class OpenedPhoto:
    """A photo opened: its bytes or pixels (H, W, 3), its name, and how to have it again."""

    data: Source
    name: str
    get: Callable[[], Source]

    def again(self, reading: PhReading | TintReading | SolidReading | StripDescription) -> PhotoAgain:
        """The photo without its data, for the reading's picture."""
        return PhotoAgain(self.get, reading.stamp.sha256, self.name)


def opened(photo: Photo, name: str | None, place: int | None = None) -> OpenedPhoto:
    """The photo, checked.

    Raises
    ------
    CallError
        If it is no photo, or its file can't be read.
    """
    numbered = "" if place is None else f" {place}"
    if isinstance(photo, (bytes, bytearray, memoryview)):
        data = bytes(photo)
        return OpenedPhoto(data, name or f"bytes{numbered}", lambda: data)
    if isinstance(photo, np.ndarray):
        if photo.ndim != 3 or photo.shape[2] != 3 or photo.dtype != np.uint8 or photo.size == 0:
            shape = " x ".join(str(n) for n in photo.shape)
            raise CallError(
                _(
                    "a photo as array is RGB, height x width x 3, uint8; this one is {shape}, {dtype}",
                    shape=shape,
                    dtype=photo.dtype,
                )
            )
        return OpenedPhoto(photo, name or f"array{numbered}", lambda: photo)
    if not isinstance(photo, (str, os.PathLike)):
        raise CallError(
            _("a photo is a path, bytes, or an RGB array (H, W, 3) uint8, not {photo}", photo=kind_of(photo))
        )
    path = path_of(photo, "photo")
    check_photo(path)
    try:
        return OpenedPhoto(path.read_bytes(), name or str(path), path.read_bytes)
    except OSError as problem:
        raise CallError(_("can't read {path}: {strerror}", path=path, strerror=problem.strerror)) from None


def check_photo(path: Path) -> None:
    """Say what is wrong with a photo's path before it is read.

    Raises
    ------
    CallError
        If nothing is there, or a folder.
    """
    try:
        folder, there = path.is_dir(), path.is_file()
    except OSError as problem:  # a name that is too long
        raise CallError(_("no such photo: {path} ({strerror})", path=path, strerror=problem.strerror)) from None
    if folder:
        raise CallError(_("{path} is a folder: name the photos in it", path=path))
    if not there:
        raise CallError(_("no such photo: {path}", path=path))


def path_of(path: Any, what: str) -> Path:  # noqa: ANN401 - whatever a caller gave
    """A path from what was given.

    Raises
    ------
    CallError
        If it is none.
    """
    if not isinstance(path, (str, os.PathLike)):
        raise CallError(_("{what} is a path or what was loaded from it, not {path}", what=what, path=kind_of(path)))
    place = os.fspath(path)
    if not isinstance(place, str) or "\0" in place:
        raise CallError(_("{what}: {place!r} is no path", what=what, place=place))
    return Path(place)


def kind_of(thing: Any) -> str:  # noqa: ANN401 - whatever a caller gave
    """Name what was given by its type, with its article."""
    name = type(thing).__name__
    return name if thing is None or name == "ndarray" else f"{'an' if name[0] in 'aeiou' else 'a'} {name}"


def number_of(field: str, value: float | None) -> float | None:
    """A number within the bounds of ``field``; None stays.

    Raises
    ------
    CallError
        If it is none, or beyond them.
    """
    if value is None:
        return None
    low, high, unit = BOUNDS[field]
    if isinstance(value, bool) or not isinstance(value, (int, float, np.integer, np.floating)):
        raise CallError(_("{field} is a number, not {kind_of}", field=field, kind_of=kind_of(value)))
    if not (math.isfinite(value) and low <= value <= high):
        raise CallError(
            _(
                "{field} must lie between {low:g} and {high:g} {unit}", field=field, low=low, high=high, unit=unit
            ).rstrip()
            + _(", not {value:g}", value=value)
        )
    return float(value)


def region_of(region: Any) -> tuple[float, float, float, float]:  # noqa: ANN401 - whatever a caller gave
    """A place on the card: x, y, width, height in mm.

    Raises
    ------
    CallError
        If it is not four numbers with a width and a height.
    """
    try:
        x, y, w, h = (float(v) for v in region)
    except (TypeError, ValueError):
        raise CallError(_("region_mm takes four numbers x, y, w, h in mm, not {region!r}", region=region)) from None
    if not (all(map(math.isfinite, (x, y, w, h))) and w > 0 and h > 0):
        raise CallError(_("region_mm: width and height must be more than nothing"))
    return (x, y, w, h)


def check_words(wash: str, water: str, ammonia_excess: str, flakes: str) -> None:
    """Check the words for how a tint was made.

    Raises
    ------
    CallError
        If one is none of its field's.
    """
    for field, words, word in (
        ("wash", Wash, wash),
        ("water", Water, water),
        ("ammonia_excess", Answer, ammonia_excess),
        ("flakes", Answer, flakes),
    ):
        *most, last = get_args(words)
        if word not in (*most, last):
            raise CallError(
                _("{field} is {most} or {last}, not {word!r}", field=field, most=", ".join(most), last=last, word=word)
            )


def circumstances_of(
    dipped_at: Dipped | None,
    waited_s: float | None,
    temperature_c: float | None,
    *,
    rinse: bool,
    beside: str | float | None = None,
) -> Circumstances:
    """What was given of the strip beside its photo.

    Raises
    ------
    CallError
        If a number is out of bounds, the dip is given twice or is no time, or ``beside`` names no liquid.
    """
    if dipped_at is not None and waited_s is not None:
        raise CallError(_("give dipped_at or waited_s, not both: they say the same"))
    dipped: float | datetime | time | None = number_of("waited_s", waited_s)
    if isinstance(dipped_at, (datetime, time)):
        dipped = dipped_at
    elif isinstance(dipped_at, str):
        dipped = dip_time(dipped_at)
    elif isinstance(dipped_at, (int, float)):
        dipped = number_of("dipped_at", dipped_at)
    elif dipped_at is not None:
        raise CallError(
            _(
                "dipped_at is a time, a text such as '10:04:30', or seconds, not {dipped_at}",
                dipped_at=kind_of(dipped_at),
            )
        )
    liquid = None
    if isinstance(beside, str):
        liquid = liquid_of(beside)
    elif beside is not None:
        liquid = liquid_of(str(number_of("beside", beside)))
    return Circumstances(dipped, bool(rinse), number_of("temperature_c", temperature_c), liquid)
