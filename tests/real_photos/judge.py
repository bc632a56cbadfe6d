"""A set of real photos calibrated and read as their user would, each reading beside its truth."""

from __future__ import annotations

import csv
import math
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from tempfile import TemporaryDirectory

import stripread
from calibration.gather import LeftOutPhoto, _one_thread
from calibration.learn import learn
from stripread.errors import CallError
from stripread.kind import load_kind
from stripread.ph.circumstances import Circumstances, with_circumstances
from stripread.ph.profile import Profile, load_profile, profile_from_text, profile_text
from stripread.ph.read import trace_ph
from stripread.results import SolidReading, TintReading
from tests.judged import NAN, Judged, codes, outcome
from tests.real_photos.table import RealPhoto

Z_95 = 1.96  # standard deviations to either side that hold 95 %
FAR_PALE = 0.1  # pale share: a tenth of the solid taken for what it is not


@dataclass(frozen=True)
class Made:
    """A profile as its file holds it, and the photos it was made from; none where the file was there before."""

    profile: Profile
    photos: tuple[RealPhoto, ...] = ()
    left_out: tuple[LeftOutPhoto, ...] = ()


@dataclass(frozen=True)
class RealRow(Judged):
    """One photo read. ``truth``, ``read``, ``low``, ``high`` are pH, mg/L of copper, or the pale share.

    ``own_phone``, ``own_bottle``, ``own_card``: whether the profile was made with it; empty where nobody knows.
    ``decision``, ``limit``: of a tint, the limit its detection limit in mg/L.
    """

    photo: str
    reading: str
    kind: str
    profile: str
    setup: str
    phone: str
    lamp: str
    bottle: str
    printer: str
    hard: bool
    own_phone: str
    own_bottle: str
    own_card: str
    liquid: str
    temp_c: float
    truth: float
    truth_sd: float
    truth_by: str
    meter: str
    decision: str = ""
    limit: float = NAN

    @property
    def trouble(self) -> str:
        """The light of a hard photo is described in its lamp."""
        return self.lamp if self.hard else "none"

    @property
    def covered_but_for_truth(self) -> bool:
        """Whether the interval holds the truth when the truth's own doubt is added to it, as independent."""
        more = Z_95 * self.truth_sd
        low, high = (
            self.read - math.hypot(self.read - self.low, more),
            self.read + math.hypot(self.high - self.read, more),
        )
        return low <= self.truth <= high

    @property
    def wrong(self) -> bool:
        """Confidently wrong: as for every pH; of a tint and of a solid as ``docs/real-photos.md`` says."""
        if self.reading == "ph" or self.status != "ok":
            return super().wrong if self.reading == "ph" else False
        if self.reading == "tint":
            unseen = self.decision == "none seen" and self.truth > self.limit
            return unseen or (self.decision == "copper" and self.truth == 0.0)
        return abs(self.error) > FAR_PALE and not self.covered


def make_profiles(photos: Sequence[RealPhoto]) -> dict[str, Made]:
    """The profiles that a table's pH readings name, by name: made by the calibration's own door, or loaded.

    Raises
    ------
    CallError
        If a kind or a profile can't be loaded, or a profile can't be made of its photos.
    """
    out: dict[str, Made] = {}
    for name in dict.fromkeys(p.profile for p in photos if p.reading == "ph"):
        taught = tuple(p for p in photos if p.use == "calibrate" and p.profile == name)
        file = photos[0].folder / name
        try:
            out[name] = _made(name, taught) if taught else Made(load_profile(file))
        except CallError as problem:
            lines = f"lines {taught[0].line} to {taught[-1].line}" if taught else "a file"
            raise CallError(f"profile {name} ({lines}): {problem}") from None
    return out


def _made(name: str, taught: tuple[RealPhoto, ...]) -> Made:
    """Learned from the photos' own table; the profile goes through its text, as a file would."""
    kind = load_kind(taught[0].folder / taught[0].kind)
    with TemporaryDirectory() as scratch:
        table = Path(scratch) / "buffers.csv"
        with table.open("w", newline="", encoding="utf-8") as file:
            writer = csv.writer(file)
            writer.writerow(("photo", "ph", "ph_sd"))
            writer.writerows((p.path.resolve(), f"{p.truth:.4f}", f"{p.truth_sd:.4f}") for p in taught)
        learned = learn(kind, buffers=table)
    return Made(profile_from_text(profile_text(learned.profile), name), taught, learned.left_out)


def judge(
    photos: Sequence[RealPhoto], made: dict[str, Made], workers: int, told: Callable[[int], object] = lambda n: None
) -> list[RealRow]:
    """Read every photo that is to be read, in order; ``told`` hears how many are done.

    Raises
    ------
    CallError
        If a photo has gone, or a tint's profile can't be loaded.
    """
    jobs = [(p, made[p.profile] if p.reading == "ph" else None) for p in photos if p.use == "read"]
    rows: list[RealRow] = []
    if workers <= 1:
        for job in jobs:
            rows.append(judge_one(*job))
            told(len(rows))
        return rows
    with ProcessPoolExecutor(workers, get_context("spawn"), _one_thread) as pool:
        for row in pool.map(judge_one, *zip(*jobs, strict=True)) if jobs else ():
            rows.append(row)
            told(len(rows))
    return rows


def judge_one(photo: RealPhoto, made: Made | None) -> RealRow:
    """One photo read, beside its truth."""
    given = {name: getattr(photo, name) for name in ("photo", "reading", "profile", "setup", "phone", "lamp")}
    for name in ("bottle", "printer", "hard", "liquid", "truth", "truth_sd", "truth_by", "meter"):
        given[name] = getattr(photo, name)
    given["temp_c"] = NAN if photo.temp_c is None else photo.temp_c
    given["kind"] = photo.reading if made is None else made.profile.kind.name
    taught = () if made is None else made.photos
    for own, column in (("own_phone", "phone"), ("own_bottle", "bottle"), ("own_card", "printer")):
        known = {getattr(p, column) for p in taught}
        given[own] = "" if not known else "the profile's" if getattr(photo, column) in known else "another"
    return RealRow(**given, **(_window(photo) if made is None else _strip(photo, made.profile)))


def _strip(photo: RealPhoto, profile: Profile) -> dict[str, object]:
    try:
        data = photo.path.read_bytes()
    except OSError as problem:
        raise CallError(f"line {photo.line}: can't read {photo.path}: {problem.strerror}") from None
    trace = trace_ph(data, profile, photo.photo)
    assert trace.reading is not None
    trace.reading = with_circumstances(trace.reading, profile.kind, Circumstances(temperature_c=photo.temp_c))
    return outcome(trace, photo.truth)


def _window(photo: RealPhoto) -> dict[str, object]:
    """A tint or a solid, read as the library reads it."""
    reading: TintReading | SolidReading
    decision, limit = "", NAN
    if photo.reading == "tint":
        standards = photo.folder / photo.profile if photo.profile else None
        reading = stripread.read_tint(photo.path, path_mm=photo.path_mm, standards=standards)
        value, interval, decision = reading.mg_per_l, reading.interval, reading.decision
        limit = NAN if reading.detection_limit is None else reading.detection_limit
    else:
        reading = stripread.read_solid(photo.path)
        value, interval = reading.pale_fraction, reading.pale_interval
    low, high = interval or (NAN, NAN)
    return {
        "status": reading.status,
        "reasons": codes(reading.reasons),
        "read": NAN if value is None else value,
        "low": low,
        "high": high,
        "decision": decision,
        "limit": limit,
    }
