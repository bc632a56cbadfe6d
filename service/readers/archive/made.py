"""Readings made anew, a line each in a file that only grows: what a run had written is not read again by the next."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any, BinaryIO

from pydantic import ValidationError

from service.folder_lock import alone
from service.readers.archive.asked import Asked
from service.readers.worker import Outcome
from service.written_whole import written_whole
from stripread.errors import CallError
from stripread.json_line import json_line
from stripread.words import _

NAME = "readings.jsonl"
Line = dict[str, Any]


class Made:
    """The file of readings in a folder, for one run at a time. Close it.

    Each line names its ``entry`` and has its ``reading`` without the seconds that it took and the ``curve`` that
    its picture shows; or, instead, ``missing`` where the photo is lost, ``other`` where it is of another strip,
    ``failed`` with the reason where it could not be read: that is tried again when the file is gone on with.
    """

    def __init__(self, folder: Path) -> None:
        self.path = folder / NAME
        self.done: set[int] = set()
        self._lines: list[bytes] = []
        self._lock: BinaryIO | None = None

    def begin(self, asked: Asked) -> Asked:
        """Begin the file, or go on with what it asks for; what of its last line was cut off is taken away.

        Nothing in it is changed before it is known to be such a file, of this question.

        Raises
        ------
        CallError
            If it answers another question, is damaged or something else, or another run is at it.
        """
        self._lock = alone(self.path.parent)
        if self._lock is None:
            text = _("another stripread writes into {out}: wait for it, or name another --out", out=self.path.parent)
            raise CallError(text)
        if not self.path.exists() or not self.path.stat().st_size:
            written_whole(self.path, asked.model_dump_json().encode() + b"\n")
            return asked
        before = self._first()
        if not before.same_question(asked):
            text = _(
                "{path} has readings of another question ({was}): name another folder with --out",
                path=self.path,
                was=before.model_dump_json(include={"software", "batches", "since", "profile"}),
            )
            raise CallError(text)
        self._end_whole()
        self.done = {line["entry"] for line in self.lines() if "failed" not in line}
        return before

    def close(self) -> None:
        """Let another run have the folder."""
        if self._lock is not None:
            self._lock.close()

    def _first(self) -> Asked:
        try:
            with self.path.open("rb") as file:
                first = file.readline()
            if not first.endswith(b"\n"):
                raise ValueError
            return Asked.model_validate_json(first)
        except (ValidationError, ValueError):
            raise CallError(_("{path} is no file of readings: name another folder", path=self.path)) from None

    def _end_whole(self) -> None:
        """End the file with its last whole line."""
        whole = 0
        with self.path.open("rb+") as file:
            for line in file:
                if line.endswith(b"\n"):
                    whole += len(line)
            file.truncate(whole)

    def add(self, entry: int, outcome: Outcome | None, why: str = "missing", said: str | None = None) -> None:
        """Take a reading in, or ``why`` there is none, and what was ``said`` of that.

        It is in the file after the next ``keep``.
        """
        line: Line = {"entry": entry}
        if outcome is None:
            line[why] = True if said is None else said
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
        """All lines but the first; of an entry that is there twice both, of which the last counts.

        Raises
        ------
        CallError
            At a line that is damaged.
        """
        with self.path.open("rb") as file:
            next(file)
            for number, line in enumerate(file, 2):
                yield self._line(number, line)

    def _line(self, number: int, line: bytes) -> Line:
        try:
            said = json.loads(line)
            if isinstance(said["entry"], int) and len(said) > 1:
                return dict(said)
        except (ValueError, KeyError, TypeError):
            pass
        raise CallError(
            _("line {number} of {path} is damaged: take it out, or name another --out", number=number, path=self.path)
        )
