"""From photos to known pads: the only file of this package that touches pictures.

Photos are measured in parallel, without knowing the card's colours; then the card is estimated from all of them, and
the pads of all are converted with it. A photo that is refused is left out and named.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration.known_pads import KnownPads
from calibration.tables import BufferRow, ChartSpot, Swatch
from stripread.card.values import CardValues
from stripread.correction.fit import fix_colour
from stripread.errors import CallError, Refused
from stripread.kind import StripKind
from stripread.ph.phones.taken import taken_by
from stripread.strip.measure import Measured, measure, measure_points
from stripread.strip.pads import PadSet, pads_to_lab
from stripread.words import _, speak, spoken

Array = NDArray[np.float64]
Spots = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class LeftOutPhoto:
    """A photo that could not be used, and why in words."""

    name: str
    why: str


@dataclass(frozen=True)
class Job:
    """One photo to measure: its strip, or the spots (mm) of a chart lying on the card."""

    path: Path
    spots: Spots = ()


def measure_all(
    jobs: list[Job], kind: StripKind, progress: Callable[[], object] = lambda: None
) -> list[Measured | LeftOutPhoto]:
    """Measure every photo, on all cores; ``progress`` is called after each.

    Returns
    -------
    list
        In the order of ``jobs``: what was measured, or why the photo can't be used.
    """
    workers = min(len(jobs), os.cpu_count() or 1)
    out: list[Measured | LeftOutPhoto] = []
    if workers <= 1:
        for job in jobs:
            out.append(measure_one(job, kind))
            progress()
        return out
    with ProcessPoolExecutor(workers, get_context("spawn"), _one_thread, (spoken(),)) as pool:
        for result in pool.map(measure_one, jobs, [kind] * len(jobs)):
            out.append(result)
            progress()
    return out


def _one_thread(language: str) -> None:
    import cv2  # noqa: PLC0415 - only in workers

    cv2.setNumThreads(1)  # one process a core already
    speak(language)


def measure_one(job: Job, kind: StripKind) -> Measured | LeftOutPhoto:
    """Measure one photo, or say why it can't be used.

    Raises
    ------
    CallError
        If its file can't be read.
    """
    try:
        data = job.path.read_bytes()
        return measure_points(data, np.array(job.spots)) if job.spots else measure(data, kind)
    except OSError as problem:
        raise CallError(_("can't read {path}: {strerror}", path=job.path, strerror=problem.strerror)) from None
    except Refused as refused:
        return LeftOutPhoto(str(job.path), refused.reason.message)


def to_pads(measured: Measured, card: CardValues, *, dye: bool = True) -> PadSet:
    """Correct one photo's pads, or with ``dye`` false a printed chart's fields, with the card's values."""
    return pads_to_lab(measured.pads, fix_colour(measured.samples, card), dye=dye)


def known_pad(measured: Measured, card: CardValues, ph: float, ph_sd: float, name: str) -> KnownPads:
    """Pads of one measured photo at a known pH, with the phone and the light that it was taken by."""
    fix = fix_colour(measured.samples, card)
    pads = pads_to_lab(measured.pads, fix)
    taken = taken_by(measured.phone, fix)
    return KnownPads(pads.lab, pads.cov, ph, ph_sd, measured.sha256, name, pads.of_phone, taken)


def known_pads(rows: list[BufferRow], results: list[Measured | LeftOutPhoto], card: CardValues) -> list[KnownPads]:
    """Pads of the photos that were measured, with the pH of their rows."""
    out = []
    for row, result in zip(rows, results, strict=True):
        if isinstance(result, Measured):
            out.append(known_pad(result, card, row.ph, row.ph_sd, row.name))
    return out


def chart_jobs(spots: list[ChartSpot]) -> list[tuple[Job, list[ChartSpot]]]:
    """One job a photo of the chart, with its spots in the job's order."""
    by_photo: dict[Path, list[ChartSpot]] = {}
    for spot in spots:
        by_photo.setdefault(spot.path, []).append(spot)
    return [(Job(path, tuple(s.at_mm for s in group)), group) for path, group in by_photo.items()]


def swatches(group: list[ChartSpot], measured: Measured, card: CardValues) -> list[Swatch]:
    """The chart's fields as seen on one photo."""
    lab = to_pads(measured, card, dye=False).lab
    return [Swatch(s.ph, s.pad, (float(v[0]), float(v[1]), float(v[2]))) for s, v in zip(group, lab, strict=True)]
