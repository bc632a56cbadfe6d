"""A log as one tar file, in pieces: the database of one moment, then exactly the photos and profiles that it names.

All hashes are known before the first byte: a photo's is its name. So the manifest comes first, the size of the whole is
known, and each photo is held against its hash while it is copied.
"""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from pydantic import ValidationError
from sqlalchemy import Connection, func, inspect, select
from sqlalchemy.exc import DatabaseError

from service.errors import BenchBusy, Conflict
from service.log.archive import tape
from service.log.archive.manifest import (
    LOG,
    MANIFEST,
    MAX_MANIFEST,
    SUMS,
    Chain,
    Manifest,
    Member,
    photo_name,
    profile_name,
    sums,
)
from service.log.archive.snapshot import discard, take_snapshot
from service.log.blobs import Blobs
from service.log.chain.links import KEY
from service.log.check import check_rows
from service.log.database import Database
from service.log.models import metadata, now, photos, profiles
from service.log.opening.form import form_of
from service.log.photos.place import blobs_of
from service.log.photos.several import several
from service.log.photos.store import NotTheSame, StoreAway
from stripread.results import SOFTWARE
from stripread.words import _

CHUNK = 256 * 1024


@dataclass(frozen=True)
class Backup:
    """A back-up that is about to be written; ``size`` is that of the whole file, in bytes. Close it."""

    manifest: Manifest
    size: int
    _log: BinaryIO  # its name is gone already: whatever ends this process leaves nothing of it
    _profiles: dict[str, bytes]  # by the names of their members
    _photos: Blobs
    _damaged: bool  # a photo is then looked for wherever it may be whole

    def pieces(self) -> Iterator[bytes]:
        """The file, piece by piece.

        Raises
        ------
        Conflict
            If a photo is not what the log says: what was given so far is no back-up then.
        BenchBusy
            If the store of photos does not answer: likewise.
        """
        at, said = self.manifest.at, self.manifest.text()
        photos = [m.sha256 for m in self.manifest.members if m.name != LOG and m.name not in self._profiles]
        places = _fetched(self._photos.here_whole if self._damaged else self._photos.here, photos)
        yield from _whole(MANIFEST, said, at)
        for member in self.manifest.members:
            if member.name in self._profiles:
                yield from _whole(member.name, self._profiles[member.name], at)
                continue
            yield tape.header(member.name, member.size, at)
            if member.name == LOG:
                self._log.seek(0)
                yield from _held_against(self._log, member)
            else:
                with _photo(next(places)) as source:
                    yield from _held_against(source, member)
                self._photos.forget(member.sha256)
            yield tape.padding(member.size)
        yield from _whole(SUMS, sums(said, self.manifest.members), at)
        yield tape.end(_length(self.manifest, said))

    def close(self) -> None:
        """Give the database's copy back."""
        self._log.close()
        self._photos.close()


def prepare(url: str, data: Path, scratch: Path, *, damaged: bool = False) -> Backup:
    """Take the log in ``data`` as it stands now; the service may run and go on writing meanwhile.

    Parameters
    ----------
    url
        SQLAlchemy URL of its database.
    scratch
        Where the database's copy is put for a moment: a name that is free.
    damaged
        Take a log that is not whole, too; the manifest then says what is wrong with it.

    Raises
    ------
    Conflict
        If the log is not whole or can't be taken this way.
    """
    blobs = blobs_of(data, reading=True)
    try:
        take_snapshot(url, scratch)
        with closing(Database(f"sqlite:///{scratch}", read_only=True)) as copy, copy.snapshot() as c:
            found = check_rows(c)
            faults, there = list(found.faults), _photo_sizes(c)
            if damaged:  # which photos are left can't wait until they are copied: the manifest comes first
                gone = _photos_gone(blobs, there)
                faults += [_("photo {sha256} is missing", sha256=sha256) for sha256 in sorted(gone)]
                there = {sha256: size for sha256, size in there.items() if sha256 not in gone}
            elif faults:
                raise _not_whole(faults[0])
            head, form, counts, kept = found.walked.head, str(form_of(c)), row_counts(c), _profiles(c)
        log = scratch.open("rb")
    finally:
        discard(scratch)
    members = [
        Member(name=LOG, size=os.fstat(log.fileno()).st_size, sha256=hashlib.file_digest(log, "sha256").hexdigest()),
        *(Member(name=photo_name(sha256), size=size, sha256=sha256) for sha256, size in sorted(there.items())),
        *(Member(name=profile_name(sha256), size=len(text), sha256=sha256) for sha256, text in sorted(kept.items())),
    ]
    try:
        manifest = Manifest(
            software=SOFTWARE,
            made_at=now(),
            form=form,
            chain=Chain(links=head.n, head=head.link),
            counts=counts,
            faults=faults,
            members=members,
        )
    except ValidationError:
        log.close()
        why = faults[0] if faults else _("its rows")
        said = _("The log is too damaged for a back-up ({why}): stop the service and copy its folder.", why=why)
        raise Conflict("log_not_whole", said) from None
    text = manifest.text()
    if len(text) > MAX_MANIFEST:
        log.close()
        raise Conflict(
            "too_many_photos", _("This log has more photos than one back-up takes: copy its folder instead.")
        )
    length = _length(manifest, text)
    by_name = {profile_name(sha256): text for sha256, text in kept.items()}
    return Backup(manifest, length + len(tape.end(length)), log, by_name, blobs, damaged)


def _length(manifest: Manifest, said: bytes) -> int:
    """Bytes of all members, without the end of the file."""
    own = tape.span(MANIFEST, len(said), manifest.at)
    listed = tape.span(SUMS, len(sums(said, manifest.members)), manifest.at)
    return own + listed + sum(tape.span(m.name, m.size, manifest.at) for m in manifest.members)


def _whole(name: str, content: bytes, at: int) -> Iterator[bytes]:
    yield tape.header(name, len(content), at) + content + tape.padding(len(content))


def _held_against(source: BinaryIO, member: Member) -> Iterator[bytes]:
    digest, left = hashlib.sha256(), member.size
    while left and (piece := _read(source, min(CHUNK, left), member)):
        digest.update(piece)
        left -= len(piece)
        yield piece
    if _read(source, 1, member) or digest.hexdigest() != member.sha256:
        raise _not_whole(_("{name} is not what it was", name=member.name))


def _read(source: BinaryIO, size: int, member: Member) -> bytes:
    try:
        return source.read(size)
    except OSError as problem:
        raise _not_whole(_("{name} can't be read: {strerror}", name=member.name, strerror=problem.strerror)) from None


def _photo(path: Path) -> BinaryIO:
    """A photo's file; never a link to somewhere else, and nothing that would wait."""
    try:
        handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
    except FileNotFoundError:
        raise _not_whole(_("photo {name} is missing", name=path.name)) from None
    except OSError as problem:
        raise _not_whole(
            _("photo {name} can't be read: {strerror}", name=path.name, strerror=problem.strerror)
        ) from None
    if not stat.S_ISREG(os.fstat(handle).st_mode):
        os.close(handle)
        raise _not_whole(_("photo {name} is no file", name=path.name))
    return os.fdopen(handle, "rb")


def _fetched(find: Callable[[str], Path | None], photos: list[str]) -> Iterator[Path]:
    """Where each photo can be read, in order; of a store some are fetched ahead."""
    try:
        for sha256, place in several(find, photos):
            if place is None:
                raise _not_whole(_("photo {name} is missing", name=sha256))
            yield place
    except StoreAway as problem:
        raise _away(problem) from None
    except NotTheSame as problem:
        raise _not_whole(str(problem.strerror)) from None


def _away(problem: StoreAway) -> BenchBusy:
    return BenchBusy("store_away", _("No back-up was made: {problem}.", problem=problem.strerror), 30)


def _photos_gone(blobs: Blobs, photos: dict[str, int]) -> set[str]:
    """Those of which no file is whole, here or in the store: a copy of each other one is to be had."""
    gone = set()
    try:
        for sha256, place in several(blobs.here_whole, photos):
            if place is None or place.stat().st_size != photos[sha256]:
                gone.add(sha256)
            if place is not None:
                blobs.forget(sha256)
    except StoreAway as problem:
        raise _away(problem) from None
    return gone


def _not_whole(fault: str) -> Conflict:
    return Conflict(
        "log_not_whole",
        _(
            "The log is not whole, so no back-up was made: {fault}. `stripread log check` says all; "
            "`stripread log backup --damaged` takes what is left.",
            fault=fault,
        ),
    )


def row_counts(c: Connection) -> dict[str, int]:
    """How many rows each table of the chain has; an older form may lack one."""
    there = inspect(c).get_table_names()
    return {
        table: int(c.execute(select(func.count()).select_from(metadata.tables[table])).scalar_one())
        for table in sorted(set(KEY) & set(there))
    }


def _photo_sizes(c: Connection) -> dict[str, int]:
    """Every photo that the log knows, by hash, with its size; none where the rows can't be read."""
    try:
        return {str(row.sha256): row.size for row in c.execute(select(photos.c.sha256, photos.c.size))}
    except DatabaseError:
        return {}


def _profiles(c: Connection) -> dict[str, bytes]:
    """The kept profiles whose text is that of their hash: a damaged one is a fault of the log, and no member."""
    found = {str(row.sha256): str(row.text).encode() for row in c.execute(select(profiles))}
    return {sha256: text for sha256, text in found.items() if hashlib.sha256(text).hexdigest() == sha256}
