"""The whole check of a log, part after part: a part that can't be read is a fault, and the others are still checked."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, func, select
from sqlalchemy.exc import DatabaseError

from service.log.chain.guards import guard_faults
from service.log.chain.walk import Walk, walk
from service.log.check.folder import check_photos, check_profile_files
from service.log.check.rows import entry_faults, json_faults, profile_faults
from service.log.check.sums import sum_faults
from service.log.database import Database
from service.log.models import entries, photos
from service.log.opening.form import form_of, later_form, newest_form
from stripread.words import _

HEAD_DIGITS = 16  # of a printed head that must be given at least: by chance nobody meets another one


@dataclass(frozen=True)
class ChainCheck:
    """The chain: its links, its newest hash, and where it began. ``holds_to``: the last link that follows."""

    links: int
    head: str
    began: str
    taken_up: int  # rows that were there before it, as they stood when it began
    holds_to: int
    asked: str | None = None  # digits of a head that was asked for
    asked_link: int | None = None  # its number, if it is in this chain


@dataclass(frozen=True)
class LogCheck:
    """What was found. ``faults`` break the log's promise; ``orphans`` and ``unfinished`` are left by cut-off posts."""

    entries: int
    photos: int
    faults: tuple[str, ...]
    orphans: tuple[str, ...]  # photos that no entry names
    unfinished: tuple[str, ...]
    strays: tuple[str, ...]  # files in the folder of photos that are none
    chain: ChainCheck

    @property
    def whole(self) -> bool:
        """Whether every row is as it was logged and has all that it names, unharmed."""
        return not self.faults


@dataclass(frozen=True)
class RowsCheck:
    """What was found in the database alone. ``photos`` are those that the log knows, by hash, with their sizes."""

    entries: int
    photos: dict[str, int]
    faults: tuple[str, ...]
    walked: Walk


def check_rows(c: Connection, asked: str | None = None) -> RowsCheck:
    """Check the database of a log: its form, chain, guards and rows. No file of a photo is looked at."""
    faults = _part(c, "database", _inside)
    form = _form(c)
    faults += form
    walked = Walk()
    known: dict[str, int] = {}
    count = 0
    try:
        walked = walk(c, asked)
        known = {str(row.sha256): row.size for row in c.execute(select(photos))}
        count = int(c.execute(select(func.count()).select_from(entries)).scalar_one())
    except DatabaseError as problem:
        faults.append(_sentence(c, "chain", problem))
    faults += walked.faults
    for name, part in (
        ("guards", guard_faults if not form else _nothing),
        ("profiles", profile_faults),
        ("rows", json_faults),
        ("entries", entry_faults),
        ("sums", sum_faults if not form else _nothing),
    ):
        faults += _part(c, name, part)
    return RowsCheck(count, known, tuple(dict.fromkeys(faults)), walked)


def check_log(database: Database, data: Path, asked: str | None = None) -> LogCheck:
    """Check the log in ``data``. Reads every photo. ``asked``: the first digits of a head that some report shows."""
    with database.snapshot() as c:
        rows = check_rows(c, asked)
    walked = rows.walked
    files = check_photos(data / "photos", rows.photos)
    faults = [*rows.faults, *files.faults, *check_profile_files(data / "profiles")]
    if asked is not None:
        faults += _asked(asked, walked)
    chain = ChainCheck(
        walked.head.n, walked.head.link, walked.began, walked.taken_up, walked.holds_to, asked, walked.asked
    )
    return LogCheck(
        rows.entries,
        len(rows.photos),
        tuple(dict.fromkeys(faults)),
        tuple(files.orphans),
        tuple(files.unfinished),
        tuple(files.strays),
        chain,
    )


def _part(c: Connection, name: str, part: Callable[[Connection], Iterable[str]]) -> list[str]:
    try:
        return list(part(c))
    except DatabaseError as problem:
        return [_sentence(c, name, problem)]


def _nothing(_: Connection) -> list[str]:
    return []


def _sentence(c: Connection, name: str, problem: DatabaseError) -> str:
    c.rollback()  # PostgreSQL answers nothing more in a transaction that failed
    return f"{name}: {str(problem.orig).splitlines()[0]}"


def _inside(c: Connection) -> list[str]:
    if c.dialect.name != "sqlite":
        return []  # such a database checks itself
    lines = [str(row[0]) for row in c.exec_driver_sql("PRAGMA integrity_check")]
    loose = c.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
    return [f"database: {line}" for line in lines if line != "ok"] + [
        _("database: loose row in {row_0}", row_0=row[0]) for row in loose
    ]


def _form(c: Connection) -> list[str]:
    """A log of another form than this version makes can't be called whole by it."""
    form, newest = form_of(c), newest_form()
    if form == newest:
        return []
    if form is None:
        return [_("the log does not say which form it has")]
    if later_form(c) is not None:
        return [
            _(
                "the log has the form {form}, which this version does not know: check it with a later stripread",
                form=form,
            )
        ]
    return [
        _(
            "the log has the older form {form}: `stripread serve` or `stripread batch new` takes it up into a chain",
            form=form,
        )
    ]


def _asked(asked: str, walked: Walk) -> list[str]:
    if walked.asked is None:
        return [
            _(
                "the head {asked} is not in this log's chain: printed from another log, or this one was changed",
                asked=asked,
            )
        ]
    if walked.asked > walked.holds_to:
        return [
            _(
                "the head {asked} is link {asked2}, but the chain does not hold up to there",
                asked=asked,
                asked2=walked.asked,
            )
        ]
    return []
