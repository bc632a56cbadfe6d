"""The profiles that readings are made with, kept beside the log: a reading can be made again long after."""

from __future__ import annotations

import hashlib
import tomllib
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path

from sqlalchemy.exc import SQLAlchemyError

from service.errors import BenchBusy, Conflict
from service.log import store
from service.log.benches.asking import asks
from service.log.benches.rows import handed_to
from service.log.calibrations import versions
from service.log.database import Database
from service.settings import Settings
from service.written_whole import written_whole
from stripread.errors import CallError
from stripread.user_file import toml_table, user_text
from stripread.words import _


@dataclass(frozen=True)
class KeptProfile:
    """A copy of a profile under its SHA-256, so that nobody changes it under a reading."""

    sha256: str
    text: str
    path: Path


@dataclass(frozen=True)
class KnownStrip:
    """A strip that can be read: its profile's name and the maker's reading window, seconds after dipping."""

    name: str
    read_after_s: tuple[float, float] | None


_UNREADABLE = KnownStrip("unreadable profile", None)


@dataclass(frozen=True)
class _Source:
    """Where a strip's profile comes from: a file given at the start, or the text of the version chosen last."""

    strip: KnownStrip
    path: Path | None
    text: str | None = None


class Profiles:
    """Hands out the profile for each kind of reading; a new calibration counts at once.

    Where the log's ``database`` is given, a profile given at the start is kept as a version of its name, and the
    version chosen last is used: what was given last, or chosen since.
    """

    def __init__(self, settings: Settings, database: Database | None = None) -> None:
        self._strips = settings.profiles
        self._tint = settings.tint_standards
        self._database = database
        self._root = settings.data / "profiles"
        self._root.mkdir(parents=True, exist_ok=True)
        self._taken_in: set[str] = set()
        self.take_in()

    def available(self) -> dict[str, bool]:
        """Which kinds of reading can be made now."""
        return {"ph": bool(self._named()), "tint": True, "solid": True, "cells": True}

    def strips(self) -> list[KnownStrip]:
        """The strips that can be read now, the usual one first."""
        return [source.strip for source in self._named()]

    def current(self, kind: str, name: str | None = None) -> KeptProfile | None:
        """The profile for a new reading, of a strip the one of this name or the first; None where the kind needs none.

        Raises
        ------
        Conflict
            When a pH is asked for and there is no profile, none of that name, or it can't be read.
        """
        if kind != "ph":
            return None if kind != "tint" or self._tint is None else self._read(self._tint)
        self.take_in()
        if asks() is None and self._strips and name is None and not self._strips[0].is_file():
            return self._read(self._strips[0])  # which says what is wrong with it
        named = self._named()
        if not named and asks() is not None:
            raise Conflict("no_profile", _("No strip profile was handed to this bench yet. Ask the keeper for one."))
        if not named:
            raise Conflict(
                "no_profile",
                _(
                    "This service has no strip profile yet. Calibrate the strip on the page, or start the service with "
                    "--profile, made by `stripread calibrate`."
                ),
            )
        for source in named:
            if name in (None, source.strip.name):
                return self._of(source)
        known = ", ".join(source.strip.name for source in named) or "none"
        raise Conflict(
            "no_profile", _("There is no profile '{name}' here. Choose one of these: {known}.", name=name, known=known)
        )

    def take_in(self) -> None:
        """Keep the profiles given at the start as versions, each once; what is newer than the last choice is chosen.

        A log that can't be written now is no reason to read no strips: it is tried again with the next one.
        """
        if self._database is None:
            return
        for source in self._given():
            if source.path is None or source.strip == _UNREADABLE:
                continue
            try:
                data = source.path.read_bytes()
                sha256 = hashlib.sha256(data).hexdigest()
                if sha256 in self._taken_in:
                    continue
                changed = datetime.fromtimestamp(source.path.stat().st_mtime, UTC).isoformat(timespec="microseconds")
                with self._database.write() as c:
                    versions.take_given(c, data.decode(), source.strip.name, changed)
                self._taken_in.add(sha256)
            except (BenchBusy, SQLAlchemyError, OSError, UnicodeDecodeError):
                continue

    def _given(self) -> list[_Source]:
        """The files given at the start whose name no other has: only these go by name and version."""
        found = [_Source(_look(path.read_text("utf-8", "replace")), path) for path in self._strips if path.is_file()]
        names = [source.strip.name for source in found]
        return [source for source in found if names.count(source.strip.name) == 1]

    def _named(self) -> list[_Source]:
        """The profiles by name; those of one name are told apart by their files."""
        found = [_Source(_look(path.read_text("utf-8", "replace")), path) for path in self._strips if path.is_file()]
        names = [source.strip.name for source in found]
        chosen = self._chosen()
        named: list[_Source] = []
        for source in found:
            strip = source.strip
            if names.count(strip.name) > 1 and source.path is not None:
                named.append(replace(source, strip=replace(strip, name=f"{strip.name} ({source.path.name})")))
            else:
                named.append(replace(source, text=chosen.get(strip.name)))
        others = [text for name, text in chosen.items() if name not in names]
        return self._handed(named + [_Source(_look(text), None, text) for text in others])

    def _handed(self, sources: list[_Source]) -> list[_Source]:
        """Those that the keeper handed to the bench that asks; all of them where the keeper asks."""
        bench = asks()
        if bench is None or self._database is None:
            return sources
        with self._database.read() as c:
            names = handed_to(c, bench)
        return [source for source in sources if source.strip.name in names]

    def _chosen(self) -> dict[str, str]:
        """Text of the version chosen last, by name; none where the log can't tell now."""
        if self._database is None:
            return {}
        try:
            with self._database.read() as c:
                found = {
                    name: store.profile_text(c, row["profile_sha256"])
                    for name, row in versions.current_versions(c).items()
                }
        except SQLAlchemyError:
            return {}
        return {name: text for name, text in found.items() if text is not None}

    def _of(self, source: _Source) -> KeptProfile:
        if source.text is not None:
            return self.keep(source.text)
        assert source.path is not None
        return self._read(source.path)

    def _read(self, source: Path) -> KeptProfile:
        try:
            text = source.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError):
            raise Conflict(
                "no_profile", _("The profile {name} can't be read on the bench computer.", name=source.name)
            ) from None
        return self.keep(text)

    def keep(self, text: str) -> KeptProfile:
        """Put a profile's text where workers can load it."""
        return kept_profile(self._root, text)


def kept_profile(folder: Path, text: str) -> KeptProfile:
    """A profile's text in a file of the folder, whose name is its hash; written if it is not there."""
    data = text.encode()
    sha256 = hashlib.sha256(data).hexdigest()
    path = folder / f"{sha256}.toml"
    if not path.exists():
        written_whole(path, data)
    return KeptProfile(sha256, text, path)


def check_profile(path: Path) -> None:
    """Say it before the service starts if this is no strip's profile at all.

    Raises
    ------
    CallError
        If it can't be read, or is something else.
    """
    table = toml_table(user_text(path, "profile"), str(path), _("a profile"))
    if table.get("what") != "stripread profile":
        raise CallError(_("{path} is no strip's profile: make one with `stripread calibrate`", path=path))


@lru_cache(maxsize=32)
def _look(text: str) -> KnownStrip:
    """Name and reading window of a profile; the service's own process reads no more of it."""
    try:
        table = tomllib.loads(text)
        window = table.get("kind", {}).get("read_after_s")
        return KnownStrip(str(table["name"]), None if window is None else (float(window[0]), float(window[1])))
    except (tomllib.TOMLDecodeError, KeyError, TypeError, ValueError, IndexError, AttributeError):
        return _UNREADABLE
