"""The reader of the service: the package's own pipeline, called in a worker process."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from service.readers.pictures import NotAPicture
from service.readers.statement import StripStatement
from service.readers.worker import Job, Outcome

if TYPE_CHECKING:
    from stripread.ph.profile import Profile
    from stripread.ph.read import PhTrace
    from stripread.tint.cells_reading import CellsReading
    from stripread.tint.read import TintRequest, TintTrace


class PipelineReader:
    """Reads with ``stripread``; imports it where it is made, in the worker, never in the service itself."""

    def __init__(self) -> None:
        import stripread.ph.read  # noqa: F401, PLC0415 - paid for before the first photo comes

    def read(self, job: Job) -> Outcome:
        """Read one photo as its kind."""
        data = job.photo.read_bytes()
        if job.kind == "ph":
            return _read_ph(data, job)
        if job.kind == "cells":
            return Outcome(_traced_cells(data, job)[0].to_dict())
        from stripread.solid.read import read_solid  # noqa: PLC0415

        return Outcome(_read_tint(data, job) if job.kind == "tint" else read_solid(data, job.name).to_dict())

    def overlay(self, job: Job) -> bytes:
        """Draw one reading as a PNG.

        Raises
        ------
        NotAPicture
            When there is no photo to draw on.
        """
        data = job.photo.read_bytes()
        if job.kind != "ph":
            return _windows_picture(data, job)
        from stripread.picture.of_ph import ph_picture  # noqa: PLC0415 - drawing is heavy and rare

        assert job.profile is not None
        profile = _profile(job.profile)
        trace = _traced(data, profile, job.name, job.said)
        if trace.card.photo is None:
            raise NotAPicture("not opened")
        return ph_picture(trace, profile)


def _windows_picture(data: bytes, job: Job) -> bytes:
    from stripread.picture.of_windows import solid_picture, tint_picture  # noqa: PLC0415
    from stripread.solid.read import trace_solid  # noqa: PLC0415
    from stripread.tint.read import trace_tint  # noqa: PLC0415

    if job.kind == "solid":
        solid = trace_solid(data, job.name)
        if solid.card.photo is None:
            raise NotAPicture("not opened")
        return solid_picture(solid)
    if job.kind == "cells":
        from stripread.picture.of_cells import cells_picture  # noqa: PLC0415

        reading, trace = _traced_cells(data, job)
        if trace.card.photo is None:
            raise NotAPicture("not opened")
        return cells_picture(reading, trace)
    tint = trace_tint(data, _request(job), job.name)
    if tint.card.photo is None:
        raise NotAPicture("not opened")
    return tint_picture(tint)


def _read_ph(data: bytes, job: Job) -> Outcome:
    from stripread.ph.combined_reading import observed_photo  # noqa: PLC0415

    assert job.profile is not None
    profile = _profile(job.profile)
    trace = _traced(data, profile, job.name, job.said)
    reading = trace.reading
    assert reading is not None
    curve = None
    if reading.ph is not None:
        import numpy as np  # noqa: PLC0415

        lab = profile.curve(np.array([reading.ph]))[0]  # (P, 3)
        curve = [[round(float(v), 2) for v in pad] for pad in lab]
    if job.blank is None:
        return Outcome(reading.to_dict(), curve)
    from stripread.ph.blank import against_blank  # noqa: PLC0415

    path, name = job.blank
    water = _traced(path.read_bytes(), profile, name, replace(job.said, dipped_at=None, beside=None))
    return Outcome(against_blank(observed_photo(trace), observed_photo(water), profile).to_dict(), curve)


def _traced(data: bytes, profile: Profile, name: str, said: StripStatement) -> PhTrace:
    """The photo's trace, its reading with what was said of the strip."""
    from stripread.ph.circumstances import with_circumstances  # noqa: PLC0415
    from stripread.ph.read import trace_ph  # noqa: PLC0415

    trace = trace_ph(data, profile, name, said.of_photo(None).beside)
    if trace.reading is not None and said.to_dict():
        of_photo = said.of_photo(trace.reading.stamp.taken_at)
        trace.reading = with_circumstances(trace.reading, profile.kind, of_photo)
    return trace


def _read_tint(data: bytes, job: Job) -> dict[str, Any]:
    from stripread.tint.read import read_tint  # noqa: PLC0415

    return read_tint(data, _request(job), job.name).to_dict()


def _traced_cells(data: bytes, job: Job) -> tuple[CellsReading, TintTrace]:
    from stripread.tint.cells_reading import trace_cells  # noqa: PLC0415

    return trace_cells(data, "swapped" if job.taking.get("matching") == "swapped" else "blank", job.name)


def _request(job: Job) -> TintRequest:
    from stripread.tint.conditions import TintConditions  # noqa: PLC0415
    from stripread.tint.profile import default_response, load_tint_profile  # noqa: PLC0415
    from stripread.tint.read import TintRequest, measure_cells  # noqa: PLC0415

    standards = load_tint_profile(job.profile) if job.profile else default_response()
    taking: Any = dict(job.taking)  # its words were checked at the door
    dilution = taking.pop("dilution", None)
    cells = job.cells
    second = (
        None
        if cells is None
        else measure_cells(cells.path.read_bytes(), cells.matching, age_h=cells.age_h, changed=cells.changed)
    )
    return TintRequest(job.path_mm, standards, TintConditions(**taking), dilution=dilution, cells=second)


@lru_cache(maxsize=8)
def _profile(path: Path) -> Profile:
    from stripread.ph.profile import load_profile  # noqa: PLC0415

    return load_profile(path)
