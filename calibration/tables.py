"""The tables a user writes: photos at known pH (``buffers.csv``) and the maker's chart (``chart.csv``).

Every complaint names the file, the line and the column.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from calibration.liquids.table import liquid_ph
from stripread.errors import CallError
from stripread.tuned import tuned
from stripread.user_file import csv_table
from stripread.words import _

_TUNED = tuned("calibration")
PH_SD = _TUNED.number("buffer_ph_sd")
PH_LOW, PH_HIGH = -1.0, 15.0


@dataclass(frozen=True)
class BufferRow:
    """One photo of a strip at a known pH: the file, its name as the table wrote it, pH and its sd.

    buffer, temp_c: the liquid of the table and its temperature (°C), where the pH was taken from there.
    """

    path: Path
    name: str
    ph: float
    ph_sd: float
    line: int
    buffer: str = ""
    temp_c: float | None = None


@dataclass(frozen=True)
class Swatch:
    """One field of the maker's chart: its pH, pad, and CIELAB (L, a, b)."""

    ph: float
    pad: int
    lab: tuple[float, float, float]


@dataclass(frozen=True)
class ChartSpot:
    """One field of a photographed chart: its pH, pad, photo and place on the card in mm."""

    ph: float
    pad: int
    path: Path
    name: str
    at_mm: tuple[float, float]
    line: int


class _Row:
    """One line of a table, with complaints that say where."""

    def __init__(self, path: Path, line: int, cells: dict[str, str]) -> None:
        self.path, self.line, self._cells = path, line, cells

    def wrong(self, column: str, why: str) -> CallError:
        return CallError(
            _("{path}, line {line}, column {column}: {why}", path=self.path, line=self.line, column=column, why=why)
        )

    def text(self, column: str) -> str:
        return (self._cells.get(column) or "").strip()

    def number(self, column: str, low: float, high: float) -> float:
        text = self.text(column)
        if not text:
            raise self.wrong(column, _("is empty"))
        try:
            value = float(text)
        except ValueError:
            hint = _(" (write a decimal point, not a comma)") if "," in text else ""
            raise self.wrong(column, _("'{text}' is not a number{hint}", text=text, hint=hint)) from None
        if not math.isfinite(value) or not low <= value <= high:
            raise self.wrong(column, _("{text} is not between {low:g} and {high:g}", text=text, low=low, high=high))
        return value

    def photo(self) -> tuple[Path, str]:
        name = self.text("photo")
        if not name:
            raise self.wrong("photo", _("is empty"))
        found = self.path.parent / name
        try:
            there = found.is_file()
        except (OSError, ValueError):  # a name too long for a file, or with a NUL in it
            there = False
        if not there:
            raise self.wrong("photo", _("no such file: {found}", found=found))
        return found, name


def read_buffers(path: Path) -> list[BufferRow]:
    """Read ``photo,ph``; optional columns ``ph_sd``, and ``buffer,temp_c`` used where ``ph`` is empty.

    A buffer is any liquid of the table of liquids at hand.

    Raises
    ------
    CallError
        Naming the line and column at fault.
    """
    columns, rows = _read(path)
    _want(path, columns, ["photo"])
    if "ph" not in columns and not {"buffer", "temp_c"} <= columns:
        raise CallError(
            _(
                "{path}, line 1: wanted a column ph (or buffer and temp_c); found {columns}",
                path=path,
                columns=", ".join(sorted(columns)),
            )
        )
    out = []
    for row in rows:
        photo, name = row.photo()
        buffer, temp = "", None
        if row.text("ph"):
            ph, sd = row.number("ph", PH_LOW, PH_HIGH), PH_SD
        elif row.text("buffer"):
            buffer, temp = row.text("buffer"), row.number("temp_c", -5.0, 110.0)
            try:
                ph, sd = liquid_ph(buffer, temp)
            except ValueError as problem:
                raise row.wrong("temp_c" if "runs from" in str(problem) else "buffer", str(problem)) from None
        else:
            raise row.wrong("ph", _("is empty, and so is buffer"))
        if row.text("ph_sd"):
            sd = row.number("ph_sd", 0.0, 1.0)
        out.append(BufferRow(photo, name, ph, sd, row.line, buffer.lower(), temp))
    return out


def read_chart(path: Path, pads: int) -> list[Swatch] | list[ChartSpot]:
    """Read the maker's chart: ``ph,pad,L,a,b``, or ``ph,pad,photo,x_mm,y_mm`` where it was photographed on the card.

    Every pH must give all ``pads``.

    Raises
    ------
    CallError
        Naming the line and column at fault.
    """
    columns, rows = _read(path)
    _want(path, columns, ["ph", "pad"])
    photographed = "photo" in columns
    _want(path, columns, ["photo", "x_mm", "y_mm"] if photographed else ["L", "a", "b"])
    swatches: list[Swatch] = []
    spots: list[ChartSpot] = []
    for row in rows:
        ph, number = row.number("ph", PH_LOW, PH_HIGH), row.number("pad", 0, pads - 1)
        if number != int(number):
            raise row.wrong("pad", _("is not a whole number"))
        pad = int(number)
        if photographed:
            photo, name = row.photo()
            at = (row.number("x_mm", -50.0, 300.0), row.number("y_mm", -50.0, 300.0))
            spots.append(ChartSpot(ph, pad, photo, name, at, row.line))
        else:
            lab = (row.number("L", 0.0, 110.0), row.number("a", -200.0, 200.0), row.number("b", -200.0, 200.0))
            swatches.append(Swatch(ph, pad, lab))
    check_chart([*swatches, *spots], pads, str(path))
    return spots if photographed else swatches


def check_chart(fields: Sequence[Swatch | ChartSpot], pads: int, where: str) -> None:
    """Every pH of a chart must give all ``pads``, and there must be two of them; ``where`` names the chart in messages.

    Raises
    ------
    CallError
        Naming the pH that lacks a pad.
    """
    found: dict[float, set[int]] = {}
    for field in fields:
        found.setdefault(field.ph, set()).add(field.pad)
    for ph, seen in sorted(found.items()):
        if len(seen) < pads:
            missing = sorted(set(range(pads)) - seen)
            raise CallError(
                _(
                    "{path}, column pad: pH {ph:g} lacks pad {missing} (counted from 0)",
                    path=where,
                    ph=ph,
                    missing=", ".join(map(str, missing)),
                )
            )
    if len(found) < 2:
        raise CallError(_("{path}, column ph: a chart needs two pH values or more", path=where))


def _read(path: Path) -> tuple[set[str], list[_Row]]:
    """Column names and lines of a CSV file; empty lines are passed over."""
    names, lines = csv_table(path)
    rows = [_Row(path, number, cells) for number, cells in lines]
    if not rows:
        raise CallError(_("{path} has a head but no lines", path=path))
    return set(names), rows


def _want(path: Path, columns: set[str], wanted: list[str]) -> None:
    missing = [c for c in wanted if c not in columns]
    if missing:
        found = ", ".join(sorted(columns))
        raise CallError(
            _("{path}, line 1: no column {missing}; found {found}", path=path, missing=", ".join(missing), found=found)
        )
