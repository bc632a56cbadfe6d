"""One reading of a rendered photo of the windows beside its truth, as a row of a CSV; the fingerprint of the code."""

from __future__ import annotations

import csv
import hashlib
from dataclasses import dataclass, fields
from pathlib import Path

import calibration
import stripread
from stripread.results import SolidReading, TintReading
from tests.judged import NAN, codes
from tests.scenes import shelf

APART = {"tint": {"ph", "strip", "picture", "solid"}, "solid": {"ph", "strip", "picture", "tint"}}  # no part in it
FILES = {
    "tint": ("scenes/vial.py", "scenes/vessels.py", "cells_study.py", "tint_cases.py", "window_study/tints.py"),
    "solid": ("scenes/solid.py", "tint_cases.py", "window_study/heaps.py"),
}


@dataclass(frozen=True)
class Row:
    """One reading. Numbers that there are none of are NaN.

    part : of the study; number: of its case; how: what the reading was given beside the photo, or who took it.
    name : what stands in the window; truth, read, low, high: mg/L, or the pale share. limit : mg/L, stated; signal :
    linear estimate of the absorbance. used : the cells that the reading took out. decision, status, reasons: as read.
    """

    code: str
    world: str
    part: str
    number: int
    how: str
    name: str
    truth: float
    path_mm: float
    status: str
    decision: str
    used: str
    reasons: str
    read: float = NAN
    low: float = NAN
    high: float = NAN
    limit: float = NAN
    signal: float = NAN

    @property
    def held(self) -> bool:
        """Whether the interval holds the truth."""
        return self.low - 1e-9 <= self.truth <= self.high + 1e-9

    @property
    def answered(self) -> bool:
        """Whether there is a value with an interval."""
        return self.low == self.low


def tint_outcome(reading: TintReading, signal: float) -> dict[str, object]:
    """The fields of a row that are a tint's own."""
    low, high = reading.interval or (NAN, NAN)
    return {
        "status": reading.status,
        "decision": reading.decision or "",
        "used": reading.cells,
        "reasons": codes(reading.reasons),
        "read": NAN if reading.mg_per_l is None else reading.mg_per_l,
        "low": low,
        "high": high,
        "limit": NAN if reading.detection_limit is None else reading.detection_limit,
        "signal": signal,
    }


def solid_outcome(reading: SolidReading) -> dict[str, object]:
    """The fields of a row that are a solid's own."""
    low, high = reading.pale_interval or (NAN, NAN)
    return {
        "status": reading.status,
        "decision": "",
        "used": "",
        "reasons": codes(reading.reasons),
        "read": NAN if reading.pale_fraction is None else reading.pale_fraction,
        "low": low,
        "high": high,
    }


def fingerprint(kind: str) -> str:
    """Fingerprint of everything that a row of a kind (tint, solid) depends on: reader, calibration, renderer, cases."""
    digest = hashlib.sha256(shelf._renderer())
    files = [Path(__file__).parents[1] / name for name in FILES[kind]]
    for package in (stripread, calibration):
        root = Path(package.__path__[0])
        here = (f for f in root.rglob("*") if f.suffix in {".py", ".csv", ".toml"})
        files += sorted(f for f in here if f.relative_to(root).parts[0] not in APART[kind])
    for file in files:
        digest.update(file.read_bytes())
    return digest.hexdigest()[:12]


def read_rows(path: Path) -> list[Row]:
    """Rows of a file, none where there is no file yet."""
    if not path.exists():
        return []
    kinds = {"int": int, "float": float, "str": str}
    with path.open(newline="", encoding="utf-8") as file:
        return [
            Row(**{f.name: kinds[str(f.type)](line[f.name]) for f in fields(Row)})  # type: ignore[arg-type]
            for line in csv.DictReader(file)
        ]
