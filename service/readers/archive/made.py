"""Readings made anew, a line each in a file that only grows: what a run had written is not read again by the next."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from service.readers.archive.asked import Asked
from service.readers.worker import Outcome
from stripread.errors import CallError
from stripread.json_line import json_line
from stripread.words import _

NAME = "readings.jsonl"
Line = dict[str, Any]


class Made:
    """The file of readings in a folder.

    Each line names its ``entry`` and has its ``reading`` without the seconds that it took and the ``curve`` that
    its picture shows; or, instead, ``missing`` where the photo is lost, ``other`` where it is of another strip.
    """

    def __init__(self, folder: Path) -> None:
        self.path = folder / NAME
        self.done: set[int] = set()
        self._lines: list[bytes] = []

    def begin(self, asked: Asked) -> Asked:
        """Begin the file, or go on with what it asks for; what of its last line was cut off is taken away.

        Raises
        ------
        CallError
            If it answers another question.
        """
        if not self.path.exists() or not (content := self._whole()):
            self.path.write_bytes(asked.model_dump_json().encode() + b"\n")
            self._sync()
            return asked
        first, *lines = content.splitlines()
        try:
            before = Asked.model_validate_json(first)
        except ValidationError:
            raise CallError(_("{path} is no file of readings: name another folder", path=self.path)) from None
        if not before.same_question(asked):
            text = _(
                "{path} has readings of another question ({was}): name another folder with --out",
                path=self.path,
                was=before.model_dump_json(include={"software", "batches", "since", "profile"}),
            )
            raise CallError(text)
        self.done = {int(json.loads(line)["entry"]) for line in lines}
        return before

    def _whole(self) -> bytes:
        """The file up to the end of its last whole line; the rest of it is removed."""
        content = self.path.read_bytes()
        whole = content[: content.rfind(b"\n") + 1]
        if whole != content:
            with self.path.open("rb+") as file:
                file.truncate(len(whole))
        return whole

    def add(self, entry: int, outcome: Outcome | None, why: str = "missing") -> None:
        """Take a reading in; it is in the file after the next ``keep``."""
        line: Line = {"entry": entry}
        if outcome is None:
            line[why] = True
        else:
            line["reading"] = {name: value for name, value in outcome.reading.items() if name != "seconds"}
            line["curve"] = outcome.curve_lab
        self._lines.append(json_line(line).encode() + b"\n")
        self.done.add(entry)

    def keep(self) -> None:
        """Have all that was taken in on the disk."""
        if self._lines:
            with self.path.open("ab") as file:
                file.write(b"".join(self._lines))
                file.flush()
                os.fsync(file.fileno())
            self._lines.clear()

    def lines(self) -> Iterator[Line]:
        """All lines but the first; of an entry that is there twice both, which are the same."""
        with self.path.open("rb") as file:
            next(file)
            for line in file:
                yield json.loads(line)

    def _sync(self) -> None:
        with self.path.open("rb") as file:
            os.fsync(file.fileno())
