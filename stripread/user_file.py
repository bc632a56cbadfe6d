"""Files that a user writes, opened in one way: bounded, parsed, and refused in one sentence that says what to do."""

from __future__ import annotations

import codecs
import csv
import re
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from stripread.errors import CallError
from stripread.words import _

if TYPE_CHECKING:
    from pydantic import BaseModel

    Model = TypeVar("Model", bound=BaseModel)

MOST_BYTES = 2_000_000  # thirty times a long profile; what is larger was not written for this program
MOST_ROWS = 5_000
MOST_CELL = 4_000  # characters
SHOWN = 60  # characters of a value in a complaint
_UTF16 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
_SEP = re.compile(r'"?sep=([,;\t])"?', re.IGNORECASE)  # how some spreadsheets name the mark between columns
_COMMA = re.compile(r"[+-]?[0-9]*,[0-9]+")
_POINT = re.compile(r"[+-]?[0-9]*\.[0-9]+")
_GROUPED = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")  # may as well be a thousand and more
_TOML_COMMA = re.compile(r"=\s*[+-]?[0-9]+,[0-9]")


class DoesNotFit(CallError):  # noqa: N818 - what it is, in the house's words
    """A table that does not fit its model, at its first place: for who can name that place better.

    ``place`` as keys and numbers from 0; ``given`` what stands there, or around it where something is ``missing``;
    ``shown`` the same in a message's length.
    """

    def __init__(self, message: str, place: tuple[str | int, ...], given: object, shown: str, *, missing: bool) -> None:
        super().__init__(message)
        self.place, self.given, self.shown, self.missing = place, given, shown, missing


def user_text(path: Path, what: str) -> str:
    """The text of a file, a byte order mark taken off; ``what`` names it in messages ("profile").

    UTF-8, or UTF-16 where its byte order mark says so, as spreadsheets save "Unicode text".

    Raises
    ------
    CallError
        If it can't be read, is larger than ``MOST_BYTES``, or no such text.
    """
    try:
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except IsADirectoryError:
        raise CallError(_("{path} is a folder: name the {what} in it", path=path, what=what)) from None
    except OSError as problem:
        raise CallError(
            _("can't read the {what} {path}: {strerror}", what=what, path=path, strerror=problem.strerror)
        ) from None
    if len(data) > MOST_BYTES:
        raise CallError(
            _(
                "{path} is larger than {most_bytes} MB: a {what} is never that long",
                path=path,
                most_bytes=MOST_BYTES // 1_000_000,
                what=what,
            )
        )
    try:
        text = data.decode("utf-16" if data.startswith(_UTF16) else "utf-8-sig")
    except UnicodeDecodeError:
        text = "\0"
    if "\0" in text:  # UTF-16 without its mark is one reason
        raise CallError(_("{path} is not a {what}: it is not a text file (save it as UTF-8)", path=path, what=what))
    return text


def toml_table(text: str, where: str, what: str) -> dict[str, Any]:
    """The table of a TOML text; ``where`` and ``what`` name it in messages.

    Raises
    ------
    CallError
        If it is no TOML, nested too deep, or holds a number that is too long.
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        found = re.search(r"at line (\d+)", str(problem))
        line = text.splitlines()[int(found[1]) - 1 :][:1] if found else []
        hint = _(": write a decimal point, not a comma") if line and _TOML_COMMA.search(line[0]) else ""
        raise CallError(
            _("{where} is not {what}: {problem}{hint}", where=where, what=what, problem=problem, hint=hint)
        ) from None
    except RecursionError:
        raise CallError(_("{where} is not {what}: its lists are nested too deep", where=where, what=what)) from None
    except ValueError:  # Python's own bound on the digits of a whole number
        raise CallError(_("{where} is not {what}: a number has too many digits", where=where, what=what)) from None


def csv_lines(path: Path) -> list[tuple[int, list[str]]]:
    """Lines of a CSV file that are not empty, each with its number, the head first.

    Columns may be parted by semicolons or tabs, as spreadsheets with a decimal comma write them; their decimal commas
    become points then.

    Raises
    ------
    CallError
        If it can't be read, is no CSV, is empty, has more than ``MOST_ROWS`` lines, or its marks may mean two things.
    """
    written = user_text(path, _("CSV table")).splitlines(keepends=True)
    mark = _mark(path, written)
    reader = csv.reader(written, delimiter=mark)
    lines: list[tuple[int, list[str]]] = []
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                lines.append((reader.line_num, cells))
            if len(lines) > MOST_ROWS + 1:
                raise CallError(_("{path} has more than {most_rows:,} lines: split it", path=path, most_rows=MOST_ROWS))
    except csv.Error as problem:
        raise CallError(_("{path} is not a CSV file: {problem}", path=path, problem=problem)) from None
    if not lines:
        raise CallError(_("{path} is empty", path=path))
    long = next((number for number, cells in lines if any(len(cell) > MOST_CELL for cell in cells)), None)
    if long is not None:
        raise CallError(
            _(
                "{path}, line {long}: a cell is longer than {most_cell:,} characters",
                path=path,
                long=long,
                most_cell=MOST_CELL,
            )
        )
    return lines if mark == "," else _with_points(path, lines)


def _mark(path: Path, written: list[str]) -> str:
    """What parts the columns, by the head; a line ``sep=;`` before it is emptied."""
    first = next((n for n, line in enumerate(written) if line.strip()), None)
    if first is None:
        return ","
    said = _SEP.fullmatch(written[first].strip(" \r\n"))
    if said is not None:
        written[first] = "\n"
        return said[1]
    head = written[first]
    by_comma = head.split(",")
    for mark in (";", "\t"):
        cells = [cell.strip().strip('"') for cell in head.split(mark)]
        if len(cells) < 2:
            continue
        if all("," not in cell or _COMMA.fullmatch(cell) for cell in cells):
            return mark
        if len(cells) >= len(by_comma):
            raise CallError(
                _(
                    "{path}, line {first}: both commas and semicolons or tabs: part columns by one of them",
                    path=path,
                    first=first + 1,
                )
            )
    return ","


def _with_points(path: Path, lines: list[tuple[int, list[str]]]) -> list[tuple[int, list[str]]]:
    """The lines with their decimal commas as points, where no cell says that a comma is something else."""
    head = dict(enumerate(cell.strip() for cell in lines[0][1]))
    commas = [
        (_("{path}, line {line}, column {head}", path=path, line=line, head=head.get(place, place + 1)), cell.strip())
        for line, cells in lines
        for place, cell in enumerate(cells)
        if _COMMA.fullmatch(cell.strip())
    ]
    if not commas:
        return lines
    where, cell = commas[0]
    point = next((n for n, cells in lines if any(_POINT.fullmatch(c.strip()) for c in cells)), None)
    if point is not None:
        raise CallError(
            _(
                "{where}: {cell} has a comma, line {point} a decimal point: write all numbers with a point",
                where=where,
                cell=cell,
                point=point,
            )
        )
    if all(_GROUPED.fullmatch(cell) for _, cell in commas):
        raise CallError(
            _(
                "{where}: {cell} may mean two numbers: write it with a decimal point, or without a comma",
                where=where,
                cell=cell,
            )
        )
    return [(n, [c.replace(",", ".") if _COMMA.fullmatch(c.strip()) else c for c in cells]) for n, cells in lines]


def csv_table(path: Path) -> tuple[list[str], list[tuple[int, dict[str, str]]]]:
    """Columns of a CSV file, and its lines as (number, cells by column); cells that a line lacks are empty.

    Raises
    ------
    CallError
        As ``csv_lines``, and where a line has more cells than the head.
    """
    (_unused, head), *lines = csv_lines(path)
    names = [cell.strip() for cell in head]
    rows = []
    for number, cells in lines:
        if len(cells) > len(names):
            extra = _("{n_cells} columns where the head has {n_names}", n_cells=len(cells), n_names=len(names))
            raise CallError(
                _(
                    "{path}, line {number}: {extra} (write a decimal point, not a comma)",
                    path=path,
                    number=number,
                    extra=extra,
                )
            )
        rows.append((number, {**dict.fromkeys(names, ""), **dict(zip(names, cells, strict=False))}))
    return names, rows


def fitted(model: type[Model], table: object, where: str, what: str) -> Model:
    """The table as its model, if it fits.

    Raises
    ------
    DoesNotFit
        Naming file and place of the first thing that does not fit, and what was wanted there.
    """
    from pydantic import ValidationError  # noqa: PLC0415 - paid for where a file is read, not at the start

    try:
        return model.model_validate(table)
    except ValidationError as problem:
        first = problem.errors(include_url=False, include_context=False)[0]
        at = first["loc"]
        place = ".".join(str(part) for part in at)
        try:
            shown = repr(first["input"])
        except ValueError:  # a whole number of more digits than Python writes, given in another base
            shown = _("a number without end")
        shown = shown if len(shown) <= SHOWN else shown[:SHOWN] + "…"
        missing = first["type"] == "missing"
        text = (
            _("{what} lacks {place!r}", what=what, place=place)
            if missing
            else _(
                "{place} of {what} does not fit: {msg}, not {shown}",
                place=place,
                what=what,
                msg=first["msg"],
                shown=shown,
            )
        )
        raise DoesNotFit(f"{where}: {text}", at, first["input"], shown, missing=missing) from None
