"""Files that a user writes, opened in one way: bounded, parsed, and refused in one sentence that says what to do."""

from __future__ import annotations

import csv
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from stripread.errors import CallError

if TYPE_CHECKING:
    from pydantic import BaseModel

    Model = TypeVar("Model", bound=BaseModel)

MOST_BYTES = 2_000_000  # thirty times a long profile; what is larger was not written for this program
MOST_ROWS = 5_000
MOST_CELL = 4_000  # characters
SHOWN = 60  # characters of a value in a complaint


def user_text(path: Path, what: str) -> str:
    """The text of a file, a byte order mark taken off; ``what`` names it in messages ("profile").

    Raises
    ------
    CallError
        If it can't be read, is larger than ``MOST_BYTES``, or no UTF-8 text.
    """
    try:
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except OSError as problem:
        raise CallError(f"can't read the {what} {path}: {problem.strerror}") from None
    if len(data) > MOST_BYTES:
        raise CallError(f"{path} is larger than {MOST_BYTES // 1_000_000} MB: a {what} is never that long")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise CallError(f"{path} is not a {what}: it is not a text file (save it as UTF-8)") from None


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
        raise CallError(f"{where} is not {what}: {problem}") from None
    except RecursionError:
        raise CallError(f"{where} is not {what}: its lists are nested too deep") from None
    except ValueError:  # Python's own bound on the digits of a whole number
        raise CallError(f"{where} is not {what}: a number has too many digits") from None


def csv_lines(path: Path) -> list[tuple[int, list[str]]]:
    """Lines of a CSV file that are not empty, each with its number, the head first.

    A file whose head is parted by semicolons, as spreadsheets with a decimal comma write it, is told what to do.

    Raises
    ------
    CallError
        If it can't be read, is no CSV, is empty, or has more than ``MOST_ROWS`` lines.
    """
    text = user_text(path, "CSV table")
    reader = csv.reader(text.splitlines(keepends=True))
    lines: list[tuple[int, list[str]]] = []
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                lines.append((reader.line_num, cells))
            if len(lines) > MOST_ROWS + 1:
                raise CallError(f"{path} has more than {MOST_ROWS:,} lines: split it")
    except csv.Error as problem:
        raise CallError(f"{path} is not a CSV file: {problem}") from None
    if not lines:
        raise CallError(f"{path} is empty")
    if len(lines[0][1]) == 1 and ";" in lines[0][1][0]:
        raise CallError(f"{path} is parted by semicolons: save it with commas between columns and decimal points")
    long = next((number for number, cells in lines if any(len(cell) > MOST_CELL for cell in cells)), None)
    if long is not None:
        raise CallError(f"{path}, line {long}: a cell is longer than {MOST_CELL:,} characters")
    return lines


def csv_table(path: Path) -> tuple[list[str], list[tuple[int, dict[str, str]]]]:
    """Columns of a CSV file, and its lines as (number, cells by column); cells that a line lacks are empty.

    Raises
    ------
    CallError
        As ``csv_lines``, and where a line has more cells than the head.
    """
    (_, head), *lines = csv_lines(path)
    names = [cell.strip() for cell in head]
    rows = []
    for number, cells in lines:
        if len(cells) > len(names):
            extra = f"{len(cells)} columns where the head has {len(names)}"
            raise CallError(f"{path}, line {number}: {extra} (write a decimal point, not a comma)")
        rows.append((number, {**dict.fromkeys(names, ""), **dict(zip(names, cells, strict=False))}))
    return names, rows


def fitted(model: type[Model], table: object, where: str, what: str) -> Model:
    """The table as its model, if it fits.

    Raises
    ------
    CallError
        Naming file and place of the first thing that does not fit, and what was wanted there.
    """
    from pydantic import ValidationError  # noqa: PLC0415 - paid for where a file is read, not at the start

    try:
        return model.model_validate(table)
    except ValidationError as problem:
        first = problem.errors(include_url=False, include_context=False)[0]
        place = ".".join(str(part) for part in first["loc"])
        if first["type"] == "missing":
            raise CallError(f"{where}: {what} lacks {place!r}") from None
        try:
            shown = repr(first["input"])
        except ValueError:  # a whole number of more digits than Python writes, given in another base
            shown = "a number without end"
        shown = shown if len(shown) <= SHOWN else shown[:SHOWN] + "…"
        raise CallError(f"{where}: {place} of {what} does not fit: {first['msg']}, not {shown}") from None
