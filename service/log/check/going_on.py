"""Where a check was stopped: a small file beside the log, bound to the chain by a link's hash, to go on from there."""

from __future__ import annotations

import contextlib
import time
from dataclasses import dataclass, field, replace
from pathlib import Path

from pydantic import BaseModel, ConfigDict, ValidationError
from sqlalchemy import Connection, select

from service.log.chain.walk import BEGINNING, Place
from service.log.models import chain, now
from service.written_whole import written_whole

NAME = "check.json"
EVERY_S = 2.0  # between two writings of it
MOST_FAULTS = 1000  # kept in it; a log with more is checked anew


class _File(BaseModel):
    model_config = ConfigDict(extra="forbid")
    began: str
    link: int
    hash: str
    holds_to: int
    faults: list[str]
    folders: int = 0


@dataclass
class GoingOn:
    """How far a check is, kept in a file where one is named.

    ``folders`` is how many of the photos' 256 folders were looked at, ``began`` when the check did. ``resumed``: it
    goes on from an earlier one.
    """

    file: Path | None = None
    place: Place = BEGINNING
    folders: int = 0
    folder_faults: tuple[str, ...] = ()
    began: str = field(default_factory=now)
    resumed: bool = False
    _written: float = field(default_factory=time.monotonic)

    def at(self, place: Place) -> None:
        """The walk came to this place."""
        self.place = place
        self._write()

    def looked_at(self, folders: int, faults: list[str]) -> None:
        """So many folders of photos were looked at, with these faults in all."""
        self.folders, self.folder_faults = folders, tuple(faults)
        self._write()

    def done(self) -> None:
        """The check came to its end: the next one begins anew."""
        if self.file is not None:
            with contextlib.suppress(OSError):
                self.file.unlink(missing_ok=True)

    def keep(self) -> None:
        """Write it down now. A log that nobody may write to is checked all the same."""
        faults = [*self.place.faults, *self.folder_faults]
        if self.file is None or self.place.n == 0 or len(faults) > MOST_FAULTS:
            return
        said = _File(
            began=self.began,
            link=self.place.n,
            hash=self.place.link,
            holds_to=self.place.holds_to,
            faults=faults,
            folders=self.folders,
        )
        with contextlib.suppress(OSError):
            written_whole(self.file, said.model_dump_json().encode())

    def _write(self) -> None:
        if time.monotonic() - self._written >= EVERY_S:
            self._written = time.monotonic()
            self.keep()


def going_on(c: Connection, file: Path | None, *, anew: bool = False) -> GoingOn:
    """Where the last check of this log was stopped; the beginning where it was not, or its chain is another one."""
    begin = GoingOn(file)
    if file is None or anew:
        return begin
    try:
        said = _File.model_validate_json(file.read_bytes())
    except (OSError, ValidationError):
        return begin
    link = c.execute(select(chain.c.link).where(chain.c.n == said.link)).scalar()
    if link != said.hash:
        return begin
    place = Place(said.link, said.hash, said.holds_to, tuple(said.faults))
    return replace(begin, place=place, folders=said.folders, began=said.began, resumed=True)
