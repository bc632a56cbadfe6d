"""What a back-up says of itself: its format, the head of the chain, counts, and hash and size of each member."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from datetime import datetime
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from service.log.archive.tape import MOST
from stripread.errors import CallError
from stripread.words import _

FORMAT = "stripread back-up"
VERSION = 1
MANIFEST, SUMS, LOG = "manifest.json", "SHA256SUMS", "log.sqlite3"
MAX_MANIFEST = 64 * 1024 * 1024  # bytes: over 300,000 photos, and still read in one piece

Sha256 = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
Count = Annotated[int, Field(ge=0, lt=2**63)]


class _Said(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class Member(_Said):
    """One file of the back-up: its name, its size in bytes, its hash."""

    name: str
    size: Count
    sha256: Sha256


class Chain(_Said):
    """The chain of the log: how many links, and the newest one's hash."""

    links: Count
    head: Sha256


class Manifest(_Said):
    """Everything about a back-up, but for its members' content. ``form`` is that of the log's database."""

    format: Literal["stripread back-up"] = "stripread back-up"
    version: Literal[1] = 1
    software: str
    made_at: str  # ISO 8601 with its offset
    form: str
    chain: Chain
    counts: dict[str, Count]
    faults: list[str]  # of a log that was not whole; none of one that was
    members: list[Member]

    @field_validator("made_at")
    @classmethod
    def _is_a_time(cls, said: str) -> str:
        at = datetime.fromisoformat(said)
        if at.tzinfo is None or not 0 <= at.timestamp() <= MOST:
            raise ValueError(_("a time with its offset, from 1970 on"))
        return said

    @field_validator("members")
    @classmethod
    def _names_are_a_logs(cls, said: list[Member]) -> list[Member]:
        for member in said:
            if member.name not in (LOG, photo_name(member.sha256), profile_name(member.sha256)):
                raise ValueError(_("no log has a file {name!r} with that hash", name=member.name[:120]))
        names = [member.name for member in said]
        if len(set(names)) != len(names):
            raise ValueError(_("a name stands there twice"))
        if names[:1] != [LOG]:
            raise ValueError(_("{log} must come first", log=LOG))
        return said

    @property
    def at(self) -> int:
        """When it was made, in whole seconds of Unix time."""
        return int(datetime.fromisoformat(self.made_at).timestamp())

    def text(self) -> bytes:
        """The manifest as its member's bytes."""
        return (self.model_dump_json() + "\n").encode()


def photo_name(sha256: str) -> str:
    """Name of a photo's member: where the log's folder has it."""
    return f"photos/{sha256[:2]}/{sha256}"


def profile_name(sha256: str) -> str:
    """Name of a profile's member."""
    return f"profiles/{sha256}.toml"


def sums(manifest: bytes, members: Sequence[Member]) -> bytes:
    """All hashes as `sha256sum --check` reads them, that of the manifest's own bytes first."""
    own = hashlib.sha256(manifest).hexdigest()
    lines = [f"{own}  {MANIFEST}", *(f"{member.sha256}  {member.name}" for member in members)]
    return ("\n".join(lines) + "\n").encode()


def read_manifest(text: bytes) -> Manifest:
    """The manifest from its member's bytes.

    Raises
    ------
    CallError
        If it is none, or one of another version.
    """
    try:
        said = json.loads(text)
    except (ValueError, RecursionError):
        raise CallError(_("its manifest can't be read")) from None
    if not isinstance(said, dict) or said.get("format") != FORMAT:
        raise CallError(_("its manifest is not one of stripread's"))
    if said.get("version") != VERSION:
        made = str(said.get("software", _("another version")))[:60]
        raise CallError(
            _(
                "it has version {said!r} of the format, made by {made!r}; this stripread knows version "
                "{version}: restore it with that one",
                said=str(said.get("version"))[:20],
                made=made,
                version=VERSION,
            )
        )
    try:
        return Manifest.model_validate_json(text)
    except ValidationError as wrong:
        first = wrong.errors()[0]
        place = ".".join(str(part) for part in first["loc"])
        raise CallError(_("its manifest is wrong at {place}: {msg}", place=place, msg=first["msg"])) from None
