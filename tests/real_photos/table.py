"""The table of a set of real photos, ``photos.csv``: every line checked before a photo is opened.

The first thing that does not fit is told with line, column and what to mend (``CallError``).
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from calibration.tables import PH_HIGH, PH_LOW, _read, _Row, _want
from stripread.errors import CallError
from stripread.ph.buffers import buffer_names, buffer_ph

TABLE = "photos.csv"
COLUMNS = ("photo", "use", "reading", "kind", "profile", "printer", "bottle", "phone", "lamp", "hard")
COLUMNS += ("liquid", "temp_c", "truth", "truth_sd", "truth_by", "meter", "path_mm")
USES = ("calibrate", "read")
READINGS = ("ph", "tint", "solid")
# How the truth of each may be known; a buffer's own table is asked where it says "table".
KNOWN_BY = {"ph": ("table", "label", "meter"), "tint": ("weighed", "label"), "solid": ("counted", "weighed")}
MOST = {"ph": PH_HIGH, "tint": 100_000.0, "solid": 1.0}  # of the truth: pH, mg/L, share
MOST_SD = {"ph": 0.5, "tint": 10_000.0, "solid": 0.3}
NAMES = ("printer", "bottle", "phone", "lamp", "liquid", "meter")  # told apart by how they are written
PROFILE_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9 ._-]{0,60}")


@dataclass(frozen=True)
class RealPhoto:
    """One line of the table. ``truth``: pH, mg/L of copper, or the pale share, with its standard deviation.

    ``line``: its number in the file. ``temp_c``, ``path_mm`` (°C, mm): None where the line has none.
    """

    line: int
    folder: Path  # the table's
    path: Path
    photo: str
    use: str
    reading: str
    kind: str
    profile: str
    printer: str
    bottle: str
    phone: str
    lamp: str
    hard: bool
    liquid: str
    temp_c: float | None
    truth: float
    truth_sd: float
    truth_by: str
    meter: str
    path_mm: float | None

    @property
    def setup(self) -> str:
        """What one user has: a phone, a bottle of strips, a printed card."""
        return f"{self.phone} x {self.bottle} x {self.printer}"


def read_table(folder: Path) -> list[RealPhoto]:
    """The lines of a folder's ``photos.csv``, in order.

    Raises
    ------
    CallError
        Naming line and column of the first thing that does not fit.
    """
    path = folder / TABLE
    if not path.is_file():
        raise CallError(f"no {path}: begin with a copy of tests/data/real_photos/{TABLE} (docs/real-photos.md)")
    columns, lines = _read(path)
    if unknown := sorted(columns - set(COLUMNS) - {""}):
        raise CallError(f"{path}, line 1: no column is called {', '.join(unknown)}; columns: {', '.join(COLUMNS)}")
    _want(path, columns, [c for c in COLUMNS if c not in {"hard", "meter", "path_mm"}])
    photos = [_photo(line) for line in lines]
    _written_alike(lines)
    _taken_once(lines, photos)
    _profiles_fit(lines, photos)
    return photos


def _photo(row: _Row) -> RealPhoto:
    found, name = row.photo()
    use, reading = _word(row, "use", USES), _word(row, "reading", READINGS)
    strip = reading == "ph"
    if use == "calibrate" and not strip:
        why = "makes profiles of strips only; for a tint: stripread calibrate-tint, and its file in column profile"
        raise row.wrong("use", f"calibrate {why}")
    for column in ("printer", "phone", "lamp", "liquid", *(("kind", "profile", "bottle") if strip else ())):
        if not row.text(column):
            raise row.wrong(column, "is empty")
    if strip and not PROFILE_NAME.fullmatch(row.text("profile")):
        raise row.wrong("profile", f"'{row.text('profile')}' is no name for a file: letters, digits, - and _")
    if reading == "solid" and row.text("profile"):
        raise row.wrong("profile", "leave it empty: a solid has no profile")
    temp = row.number("temp_c", 0.0, 100.0) if strip or row.text("temp_c") else None
    truth, sd, by = _truth(row, reading, temp)
    return RealPhoto(
        line=row.line,
        folder=row.path.parent,
        path=found,
        photo=name,
        use=use,
        reading=reading,
        kind=row.text("kind"),
        profile=row.text("profile"),
        printer=row.text("printer"),
        bottle=row.text("bottle"),
        phone=row.text("phone"),
        lamp=row.text("lamp"),
        hard=bool(row.text("hard")) and _word(row, "hard", ("yes", "no")) == "yes",
        liquid=row.text("liquid"),
        temp_c=temp,
        truth=truth,
        truth_sd=sd,
        truth_by=by,
        meter=row.text("meter"),
        path_mm=row.number("path_mm", 1.0, 500.0) if reading == "tint" else None,
    )


def _truth(row: _Row, reading: str, temp: float | None) -> tuple[float, float, str]:
    """The truth, its standard deviation, and how it is known."""
    by = _word(row, "truth_by", KNOWN_BY[reading])
    if by == "table":
        assert temp is not None
        if row.text("truth") or row.text("truth_sd"):
            raise row.wrong("truth", "leave truth and truth_sd empty where truth_by is table: liquid and temp_c say it")
        try:
            return (*buffer_ph(row.text("liquid"), temp), by)
        except ValueError as problem:
            column = "temp_c" if row.text("liquid").lower() in buffer_names() else "liquid"
            raise row.wrong(column, f"{problem}; for another liquid write label or meter in truth_by") from None
    if by == "meter" and not row.text("meter"):
        raise row.wrong("meter", "is empty: which meter measured it?")
    truth = row.number("truth", PH_LOW if reading == "ph" else 0.0, MOST[reading])
    sd = row.number("truth_sd", 0.0, MOST_SD[reading])
    if sd == 0.0 and truth > 0.0:
        raise row.wrong("truth_sd", "is 0: nothing is known exactly; give the standard deviation of the truth")
    return truth, sd, by


def _word(row: _Row, column: str, words: Sequence[str]) -> str:
    """A cell that holds one of a few words."""
    found = row.text(column).lower()
    if found not in words:
        raise row.wrong(column, f"{repr(found) if found else 'it is empty'}: write {' or '.join(words)}")
    return found


def _written_alike(lines: Sequence[_Row]) -> None:
    """One phone (lamp, bottle …) is written in one way, or it would be counted as two."""
    for column in NAMES:
        seen: dict[str, tuple[str, int]] = {}
        for row in lines:
            text = row.text(column)
            first, line = seen.setdefault(" ".join(text.lower().split()), (text, row.line))
            if text != first:
                raise row.wrong(column, f"'{text}' is '{first}' in line {line}: write it one way")


def _taken_once(lines: Sequence[_Row], photos: Sequence[RealPhoto]) -> None:
    """No picture stands in two lines: a photo must not be judged by what was learned from it."""
    seen: dict[str, RealPhoto] = {}
    for row, photo in zip(lines, photos, strict=True):
        try:
            digest = hashlib.sha256(photo.path.read_bytes()).hexdigest()
        except OSError as problem:
            raise row.wrong("photo", f"can't read {photo.path}: {problem.strerror}") from None
        first = seen.setdefault(digest, photo)
        if first is not photo:
            raise row.wrong("photo", f"{photo.photo} is the same picture as {first.photo} in line {first.line}")


def _profiles_fit(lines: Sequence[_Row], photos: Sequence[RealPhoto]) -> None:
    """A profile is of one strip kind with one printed card; one that is only read is a file beside the table."""
    first: dict[str, RealPhoto] = {}
    for row, photo in zip(lines, photos, strict=True):
        if photo.use == "calibrate":
            begun = first.setdefault(photo.profile, photo)
            for column in ("kind", "printer"):
                if (own := getattr(photo, column)) != (other := getattr(begun, column)):
                    why = f"'{own}' for profile {photo.profile}, but '{other}' in line {begun.line}"
                    raise row.wrong(column, f"{why}: a profile is of one strip kind and one printed card")
    for row, photo in zip(lines, photos, strict=True):
        folder = row.path.parent
        if photo.use == "calibrate" or not photo.profile:
            continue
        if photo.profile in first:
            if photo.kind != first[photo.profile].kind:
                raise row.wrong(
                    "kind", f"'{photo.kind}', but profile {photo.profile} is of {first[photo.profile].kind}"
                )
        elif not (folder / photo.profile).is_file():
            missing = f"no line with use = calibrate makes '{photo.profile}'" if photo.reading == "ph" else "no profile"
            raise row.wrong("profile", f"{missing}, and there is no file {folder / photo.profile}")
