"""The profiles that readings are made with, kept beside the log: a reading can be made again long after."""

from __future__ import annotations

import hashlib
import os
import secrets
from dataclasses import dataclass
from pathlib import Path

from service.problems import ServiceProblem
from service.settings import Settings


@dataclass(frozen=True)
class KeptProfile:
    """A copy of a profile under its SHA-256, so that nobody changes it under a reading."""

    sha256: str
    text: str
    path: Path


class Profiles:
    """Hands out the profile for each kind of reading; a new calibration counts at once."""

    def __init__(self, settings: Settings) -> None:
        self._sources = {"ph": settings.profile, "tint": settings.tint_standards, "solid": None}
        self._root = settings.data / "profiles"
        self._root.mkdir(parents=True, exist_ok=True)

    def available(self) -> dict[str, bool]:
        """Which kinds of reading can be made now."""
        ph = self._sources["ph"]
        return {"ph": ph is not None and ph.is_file(), "tint": True, "solid": True}

    def current(self, kind: str) -> KeptProfile | None:
        """The profile for a new reading; None where the kind needs none.

        Raises
        ------
        ServiceProblem
            409 when a pH is asked for and there is no profile, or it can't be read.
        """
        source = self._sources[kind]
        if source is None:
            if kind == "ph":
                raise ServiceProblem(
                    409,
                    "no_profile",
                    "This service has no strip profile. Start it with --profile, made by `stripread calibrate`.",
                )
            return None
        try:
            text = source.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError):
            raise ServiceProblem(
                409, "no_profile", f"The profile {source.name} can't be read on the bench computer."
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
