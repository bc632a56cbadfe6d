"""The photos of one call, read in their order on all cores, with a progress bar and a picture of each where asked."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from service.readers.in_order import in_order
from stripread.errors import CallError
from stripread.ph.profile import Profile
from stripread.words import _, speak, spoken

if TYPE_CHECKING:
    from stripread.ph.circumstances import Circumstances
    from stripread.ph.combined_reading import ObservedPhoto
    from stripread.results import PhReading, SolidReading, TintReading
    from stripread.tint.read import TintRequest

Region = tuple[float, float, float, float]  # x, y, width, height on the card, mm
Place = tuple[Path, Path | None]  # a photo, and where its picture goes
T = TypeVar("T")


@dataclass(frozen=True)
class StripReader:
    """Reads photos of strips with one profile and what was told of them; sent to each process once."""

    profile: Profile
    circumstances: Circumstances | None = None

    def __call__(self, place: Place) -> ObservedPhoto:
        """Read one photo, and keep what a joint reading needs."""
        from stripread.ph.circumstances import with_circumstances
        from stripread.ph.combined_reading import observed_photo
        from stripread.ph.read import trace_ph

        photo, picture = place
        beside = None if self.circumstances is None else self.circumstances.beside
        trace = trace_ph(_bytes_of(photo), self.profile, str(photo), beside)
        assert trace.reading is not None
        if self.circumstances is not None:
            trace.reading = with_circumstances(trace.reading, self.profile.kind, self.circumstances)
        if picture is not None:
            from stripread.picture.of_ph import ph_picture

            _write(picture, ph_picture(trace, self.profile))
        return observed_photo(trace)


@dataclass(frozen=True)
class TintReader:
    """Reads photos of two vials with one request."""

    request: TintRequest

    def __call__(self, place: Place) -> TintReading:
        """Read one photo."""
        from stripread.tint.read import trace_tint

        photo, picture = place
        trace = trace_tint(_bytes_of(photo), self.request, str(photo))
        assert trace.reading is not None
        if picture is not None:
            from stripread.picture.of_windows import tint_picture

            _write(picture, tint_picture(trace))
        return trace.reading


@dataclass(frozen=True)
class SolidReader:
    """Reads photos of a solid in one region, or in the sample window."""

    region_mm: Region | None = None

    def __call__(self, place: Place) -> SolidReading:
        """Read one photo."""
        from stripread.solid.read import trace_solid

        photo, picture = place
        trace = trace_solid(_bytes_of(photo), str(photo), self.region_mm)
        assert trace.reading is not None
        if picture is not None:
            from stripread.picture.of_windows import solid_picture

            _write(picture, solid_picture(trace))
        return trace.reading


def observe_strips(
    photos: Sequence[Path],
    profile: Profile,
    pictures: Sequence[Path | None],
    circumstances: Circumstances | None = None,
) -> Iterator[ObservedPhoto]:
    """Read photos of strips and keep of each what a joint reading needs; ``circumstances`` go for all of them."""
    return _read(StripReader(profile, circumstances), photos, pictures)


def read_strips(photos: Sequence[Path], profile: Profile, pictures: Sequence[Path | None]) -> Iterator[PhReading]:
    """Read photos of strips; each place of ``pictures`` that is not None gets a picture of its reading."""
    for observed in observe_strips(photos, profile, pictures):
        yield observed.reading


def read_tints(photos: Sequence[Path], request: TintRequest, pictures: Sequence[Path | None]) -> Iterator[TintReading]:
    """Read photos of two vials."""
    return _read(TintReader(request), photos, pictures)


def read_solids(
    photos: Sequence[Path], region_mm: Region | None, pictures: Sequence[Path | None]
) -> Iterator[SolidReading]:
    """Read photos of a solid."""
    return _read(SolidReader(region_mm), photos, pictures)


def check_photos(photos: Sequence[Path]) -> None:
    """Say which photo is not there, before any is read.

    Raises
    ------
    CallError
        For the first that is missing, or is a folder.
    """
    from stripread.arguments import check_photo

    for photo in photos:
        check_photo(photo)


def _read(reader: Callable[[Place], T], photos: Sequence[Path], pictures: Sequence[Path | None]) -> Iterator[T]:
    """Read the photos in their order.

    Raises
    ------
    CallError
        If a photo is missing or can't be read, or a picture can't be written.
    """
    check_photos(photos)
    from tqdm import tqdm

    bar = tqdm(total=len(photos), unit="photo", file=sys.stderr, disable=len(photos) < 2 or not sys.stderr.isatty())
    with bar:
        for reading in in_order(partial(_itself, reader, spoken()), _call, list(zip(photos, pictures, strict=True))):
            bar.update()
            yield reading


def _itself(reader: Any, language: str) -> Any:  # noqa: ANN401 - sent to a process once and kept there
    speak(language)
    return reader


def _call(reader: Callable[[Place], T], place: Place) -> T:
    return reader(place)


def _bytes_of(photo: Path) -> bytes:
    try:
        return photo.read_bytes()
    except OSError as problem:
        raise CallError(_("can't read {photo}: {strerror}", photo=photo, strerror=problem.strerror)) from None


def _write(picture: Path, png: bytes) -> None:
    try:
        picture.write_bytes(png)
    except OSError as problem:
        raise CallError(_("can't write {picture}: {strerror}", picture=picture, strerror=problem.strerror)) from None
