"""A back-up back into a folder: every byte of the file is held against its manifest, then the log is checked whole.

The file must be what ``backup`` writes, member for member in the manifest's order, so that nothing else can be in it:
no other name, no link, no further byte. All of it is unpacked beside the folder, which gets its name at the very end.
"""

from __future__ import annotations

import hashlib
import os
import secrets
import shutil
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from sqlalchemy import Connection, func, inspect, select
from sqlalchemy.exc import SQLAlchemyError

from service.log.archive import tape
from service.log.archive.backup import CHUNK, row_counts
from service.log.archive.manifest import LOG, MANIFEST, MAX_MANIFEST, SUMS, Manifest, profile_name, read_manifest, sums
from service.log.blobs import sync_folder
from service.log.check import LogCheck, check_log
from service.log.database import Database
from service.log.models import bench_secrets, metadata, profiles, sessions
from service.log.opening.form import newest_form
from stripread.errors import CallError
from stripread.words import _

_TABLES = {*metadata.tables, "alembic_version"}


@dataclass(frozen=True)
class Restored:
    """What was restored, and what the check of it found."""

    manifest: Manifest
    check: LogCheck


def restore(source: Path, to: Path, *, damaged: bool = False) -> Restored:
    """Unpack a back-up into the folder ``to``, which must not exist yet or be empty.

    Parameters
    ----------
    damaged
        Take the back-up of a log that was not whole, too: as damaged as its manifest says, no more.

    Raises
    ------
    CallError
        If the file is not exactly a back-up, or the folder can't be taken; nothing is left behind then.
    OSError
        When the disk does not take it; nothing is left behind then.
    """
    to = Path(os.path.realpath(to))
    _need_empty(to)
    if not source.is_file():
        raise CallError(
            _("{source} is a folder: name a file", source=source)
            if source.is_dir()
            else _("no such file: {source}", source=source)
        )
    try:
        file = source.open("rb")
    except OSError as problem:
        raise CallError(_("can't read {source}: {strerror}", source=source, strerror=problem.strerror)) from None
    with file, _stage(to) as stage:
        try:
            manifest = _unpacked(file, stage)
            check = _checked(stage, manifest, damaged=damaged)
        except CallError as wrong:
            raise CallError(_("{source} was not restored: {wrong}", source=source, wrong=wrong)) from None
        _sync(stage)
        _need_empty(to)
        stage.rename(to)  # takes the place of an empty folder, and of nothing else
    sync_folder(to.parent)
    return Restored(manifest, check)


def _need_empty(to: Path) -> None:
    if os.path.lexists(to) and not to.is_dir():
        raise CallError(_("{to} is no folder: name one that does not exist yet", to=to))
    if to.is_dir() and any(to.iterdir()):
        raise CallError(
            _("{to} is not empty, and nothing is overwritten: name a folder that does not exist yet", to=to)
        )
    if not to.parent.is_dir():
        raise CallError(_("no such folder: {parent}", parent=to.parent))


@contextmanager
def _stage(to: Path) -> Iterator[Path]:
    """A folder beside the target, that nobody else may look into; gone at the end if it has not got its name."""
    stage = to.with_name(f".{to.name[:100]}.{secrets.token_hex(8)}.part")
    stage.mkdir(mode=0o700)
    try:
        if to.is_dir():
            shutil.copymode(to, stage)
        yield stage
    finally:
        shutil.rmtree(stage, ignore_errors=True)


def _unpacked(file: BinaryIO, stage: Path) -> Manifest:
    said = _manifest(file)
    manifest = read_manifest(said)
    _expect(file, tape.header(MANIFEST, len(said), manifest.at), MANIFEST, again=True)
    file.seek(len(said), os.SEEK_CUR)
    _expect(file, tape.padding(len(said)), MANIFEST)
    total = sum(member.size for member in manifest.members)
    left = os.fstat(file.fileno()).st_size - file.tell()
    if left < total:
        raise CallError(
            _("it is cut off: its files are {total:,} bytes, and {left:,} are there", total=total, left=left)
        )
    free = shutil.disk_usage(stage).free
    if free < total:
        raise CallError(
            _(
                "it takes {total:,} bytes, and {parent} has {free:,} free: make room first",
                total=total,
                parent=stage.parent,
                free=free,
            )
        )
    for member in manifest.members:
        _expect(file, tape.header(member.name, member.size, manifest.at), member.name)
        place = stage / member.name
        place.parent.mkdir(parents=True, exist_ok=True)
        digest = hashlib.sha256()
        with place.open("xb") as out:
            for piece in _content(file, member.size, member.name):
                digest.update(piece)
                out.write(piece)
            out.flush()
            os.fsync(out.fileno())
        if digest.hexdigest() != member.sha256:
            raise CallError(_("{name} is not what its manifest says: its hash is another", name=member.name))
        _expect(file, tape.padding(member.size), member.name)
    listed = sums(said, manifest.members)
    _expect(file, tape.header(SUMS, len(listed), manifest.at), SUMS)
    if b"".join(_content(file, len(listed), SUMS)) != listed:
        raise CallError(
            _("{sums} does not agree with {manifest}: one of the two was changed", sums=SUMS, manifest=MANIFEST)
        )
    _expect(file, tape.padding(len(listed)), SUMS)
    _expect(file, tape.end(file.tell()), _("the end of the file"))
    if file.read(1):
        raise CallError(_("there is something after its end"))
    return manifest


def _manifest(file: BinaryIO) -> bytes:
    """The manifest's bytes, as far as they can be told before it is known; back at the beginning after that."""
    size = tape.size_of(_read(file, tape.BLOCK), MANIFEST)
    if size is None or not 0 < size <= MAX_MANIFEST:
        raise CallError(_("it is no back-up made by `stripread log backup`, or another program packed it anew"))
    said = b"".join(_content(file, size, MANIFEST))
    file.seek(0)
    return said


def _expect(file: BinaryIO, wanted: bytes, what: str, *, again: bool = False) -> None:
    """What comes next must be these bytes."""
    found = _read(file, len(wanted))
    if found == wanted:
        return
    if len(found) < len(wanted):
        raise CallError(_("it is cut off at {what}", what=what))
    if not any(wanted):
        raise CallError(_("there is something after {what} that does not belong there", what=what))
    where = _("the header of") if again else _("where the header should be of")
    raise CallError(
        _("{where} {what} it has {found}", where=where, what=what, found=tape.found_in(found[: tape.BLOCK]))
    )


def _read(file: BinaryIO, size: int) -> bytes:
    try:
        return file.read(size)
    except OSError as problem:
        raise CallError(_("it can't be read: {strerror}", strerror=problem.strerror)) from None


def _content(file: BinaryIO, size: int, what: str) -> Iterator[bytes]:
    left = size
    while left:
        piece = _read(file, min(CHUNK, left))
        if not piece:
            raise CallError(_("it is cut off within {what}", what=what))
        left -= len(piece)
        yield piece


def _checked(stage: Path, manifest: Manifest, *, damaged: bool) -> LogCheck:
    """The log that was unpacked must be what the manifest says of it.

    Raises
    ------
    CallError
        If it is not.
    """
    if manifest.form != newest_form():
        raise CallError(
            _(
                "its log has the form {form!r}, made by {software!r}: restore it with that version; this one "
                "brings the folder up to date when it first opens it",
                form=manifest.form[:60],
                software=manifest.software[:60],
            )
        )
    if manifest.faults and not damaged:
        raise CallError(
            _(
                "its log was not whole when it was backed up ({n_faults} faults, first: {faults_0}): "
                "--damaged restores it as it was",
                n_faults=len(manifest.faults),
                faults_0=manifest.faults[0][:200],
            )
        )
    try:
        with closing(Database(f"sqlite:///{stage / LOG}", read_only=True)) as database:
            with database.snapshot() as c:
                _need_own_tables(c)
                counts = row_counts(c)
                kept = {profile_name(str(sha256)) for sha256 in c.execute(select(profiles.c.sha256)).scalars()}
                there = set(inspect(c).get_table_names())  # an older form has no benches
                secrets = [table for table in (sessions, bench_secrets) if table.name in there]
                brought = [c.execute(select(func.count()).select_from(table)).scalar_one() for table in secrets]
            found = check_log(database, stage)
    except SQLAlchemyError as problem:
        raise CallError(_("its log can't be read: {splitlines_0}", splitlines_0=str(problem).splitlines()[0])) from None
    if any(brought):
        raise CallError(_("it brings paired phones or tokens along, which no back-up has: somebody put them in"))
    new = [fault for fault in found.faults if fault not in manifest.faults]
    if new:
        raise CallError(
            _("its log is not whole: {new_0}", new_0=new[0])
            + (_(" (and {n_new} more)", n_new=len(new) - 1) if len(new) > 1 else "")
        )
    if set(manifest.faults) - set(found.faults):
        raise CallError(_("its manifest tells of faults that its log does not have"))
    if (found.chain.links, found.chain.head, counts) != (manifest.chain.links, manifest.chain.head, manifest.counts):
        raise CallError(_("its log is not the one that its manifest describes: head of the chain or counts differ"))
    unnamed = [m.name for m in manifest.members if m.name.startswith("profiles/") and m.name not in kept]
    loose = [*found.orphans, *unnamed]
    if loose:
        raise CallError(_("it has a file that its log does not name: {loose_0}", loose_0=loose[0]))
    return found


def _need_own_tables(c: Connection) -> None:
    """Nothing in the database but a log's tables: a view in a table's place would show later what it hides now."""
    for kind, name, words in c.exec_driver_sql("SELECT type, name, sql FROM sqlite_master"):
        known = kind in ("index", "trigger") or (kind == "table" and (name in _TABLES or name.startswith("sqlite_")))
        if not known or str(words).upper().startswith("CREATE VIRTUAL"):
            raise CallError(_("its log has a {kind} {name!r}, which is none of a log's", kind=kind, name=name[:60]))


def _sync(stage: Path) -> None:
    for folder in [*(path for path in stage.rglob("*") if path.is_dir()), stage]:
        sync_folder(folder)
