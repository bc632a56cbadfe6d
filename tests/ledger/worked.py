"""The three batches of docs/worked-batches.md: their commands, and the lines that the page shows below them."""

from __future__ import annotations

import re
import shlex
from dataclasses import dataclass
from pathlib import Path

PAPER = Path(__file__).parents[2] / "docs" / "worked-batches.md"
_FENCES = re.compile(r"^## (.+?)\n.*?```sh\n(.*?)```\s+```text\n(.*?)```", re.DOTALL | re.MULTILINE)


@dataclass(frozen=True)
class Worked:
    """One batch: its heading, its commands as words (without the program's name), the lines that must come of them."""

    title: str
    commands: tuple[tuple[str, ...], ...]
    wanted: tuple[str, ...]


def worked_batches() -> list[Worked]:
    """The batches in the order of the paper."""
    found = []
    for title, commands, wanted in _FENCES.findall(PAPER.read_text(encoding="utf-8")):
        lines = [shlex.split(line) for line in commands.strip().splitlines()]
        assert {line[0] for line in lines} == {"stripread"}
        found.append(Worked(title, tuple(tuple(line[1:]) for line in lines), tuple(wanted.strip().splitlines())))
    return found
