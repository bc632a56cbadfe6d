"""The profiles that readings are made with, kept beside the log: a reading can be made again long after."""

from __future__ import annotations

import hashlib
import os
import secrets
import tomllib
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from service.errors import Conflict
from service.settings import Settings
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


class Profiles:
    """Hands out the profile for each kind of reading; a new calibration counts at once."""

    def __init__(self, settings: Settings) -> None:
        self._strips = settings.profiles
        self._tint = settings.tint_standards
        self._root = settings.data / "profiles"
        self._root.mkdir(parents=True, exist_ok=True)

    def available(self) -> dict[str, bool]:
        """Which kinds of reading can be made now."""
        return {"ph": any(path.is_file() for path in self._strips), "tint": True, "solid": True, "cells": True}

    def strips(self) -> list[KnownStrip]:
        """The strips that can be read now, the usual one first."""
        return [strip for strip, _ in self._named()]

    def current(self, kind: str, name: str | None = None) -> KeptProfile | None:
        """The profile for a new reading, of a strip the one of this name or the first; None where the kind needs none.

        Raises
        ------
        Conflict
            When a pH is asked for and there is no profile, none of that name, or it can't be read.
        """
        if kind != "ph":
            return None if kind != "tint" or self._tint is None else self._read(self._tint)
        if not self._strips:
            raise Conflict(
                "no_profile",
                _("This service has no strip profile. Start it with --profile, made by `stripread calibrate`."),
            )
        if name is None:
            return self._read(self._strips[0])
        named = self._named()
        for strip, path in named:
            if strip.name == name:
                return self._read(path)
        known = ", ".join(strip.name for strip, _ in named) or "none"
        raise Conflict(
            "no_profile", _("There is no profile '{name}' here. Choose one of these: {known}.", name=name, known=known)
        )

    def _named(self) -> list[tuple[KnownStrip, Path]]:
        """The profiles by name; those of one name are told apart by their files."""
        found = [(_look(path.read_text("utf-8", "replace")), path) for path in self._strips if path.is_file()]
        names = [strip.name for strip, _ in found]
        return [
            (strip if names.count(strip.name) == 1 else replace(strip, name=f"{strip.name} ({path.name})"), path)
            for strip, path in found
        ]

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
        data = text.encode()
        sha256 = hashlib.sha256(data).hexdigest()
        path = self._root / f"{sha256}.toml"
        if not path.exists():
            temporary = self._root / secrets.token_hex(8)
            with temporary.open("wb") as out:
                out.write(data)
                out.flush()
                os.fsync(out.fileno())
            temporary.replace(path)
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
        return KnownStrip("unreadable profile", None)
