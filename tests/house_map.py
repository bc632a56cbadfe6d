"""The map of the house in DEVELOPERS.md, from the docstrings: ``python -m tests.house_map --write``.

A room is a folder with an ``__init__``; its docstring says in two sentences what the room does and does not do. Each
file has the first sentence of its own. Nothing between the marks is written by hand, so that it can't grow old.
"""

from __future__ import annotations

import ast
import re
import sys
from pathlib import Path

import click

ROOT = Path(__file__).resolve().parents[1]
PAPER = ROOT / "DEVELOPERS.md"
PACKAGES = ("stripread", "calibration", "service")
START, END = "<!-- map: python -m tests.house_map --write -->", "<!-- /map -->"
WIDTH = 110  # of a file's sentence; a longer one ends in an ellipsis


def docstring(path: Path) -> str:
    """A file's docstring on one line."""
    return " ".join((ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or "").split())


def sentences(text: str) -> list[str]:
    return re.split(r"(?<=[.!?])\s+(?=[A-Z`\"'])", text) if text else []


def shortened(sentence: str) -> str:
    if len(sentence) <= WIDTH:
        return sentence.rstrip(".")
    return sentence[:WIDTH].rsplit(" ", 1)[0].rstrip(",;:") + " …"


def room_lines(folder: Path, root: Path) -> list[str]:
    """One room: its sentences, then a line for each of its files."""
    about = " ".join(sentences(docstring(folder / "__init__.py"))[:2])
    lines = [f"**{folder.relative_to(root).as_posix()}/** {about}", ""]
    files = sorted(path for path in folder.glob("*.py") if path.name != "__init__.py")
    lines += [f"- `{path.stem}`: {shortened((sentences(docstring(path)) or [''])[0])}" for path in files]
    return [*lines, ""] if files else lines


def house_map(root: Path = ROOT) -> str:
    """The map, between its marks, of the packages under ``root``."""
    rooms = [
        init.parent
        for package in PACKAGES
        for init in sorted((root / package).rglob("__init__.py"), key=lambda path: path.parent.parts)
        if "migrations" not in init.parent.relative_to(root).parts
    ]
    return "\n".join([START, "", *(line for room in rooms for line in room_lines(room, root)), END])


def with_map(text: str, drawn: str) -> str:
    """``text`` with what stands between the marks drawn anew."""
    if text.count(START) != 1 or text.count(END) != 1:
        raise click.ClickException(f"{PAPER.name} needs the marks {START} and {END}, once each")
    return text[: text.index(START)] + drawn + text[text.index(END) + len(END) :]


@click.command()
@click.option("--write", is_flag=True, help="Write it; without this, only say whether it is up to date.")
def main(write: bool) -> None:
    """Draw the map of the house anew."""
    before = PAPER.read_text(encoding="utf-8")
    after = with_map(before, house_map())
    if write:
        PAPER.write_text(after, encoding="utf-8")
    elif after != before:
        click.echo("DEVELOPERS.md is out of date: python -m tests.house_map --write")
        sys.exit(1)


if __name__ == "__main__":
    main()
