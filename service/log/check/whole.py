"""The whole check of a log, part after part: a part that can't be read is a fault, and the others are still checked."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import ColumnElement, Connection, and_, func, inspect, not_, or_, select
from sqlalchemy.exc import DatabaseError

from service.log.chain.guards import guard_faults
from service.log.chain.links import head as chain_head
from service.log.chain.walk import Place, Walk, walk
from service.log.check.going_on import GoingOn, going_on
from service.log.check.rows import faults_without_chain, naming_faults, row_fault
from service.log.check.sums import sum_faults
from service.log.database import Database
from service.log.models import entries, photos
from service.log.opening.form import form_of, later_form, newest_form
from service.log.photos.folder import FolderCheck, check_profile_files
from service.log.photos.held import Held, held
from service.log.photos.place import blobs_of
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
    resumed: str | None = None  # when the check began that this one went on with

    @property
    def whole(self) -> bool:
        """Whether every row is as it was logged and has all that it names, unharmed."""
        return not self.faults


@dataclass(frozen=True)
class RowsCheck:
    """What was found in the database alone."""

    entries: int
    photos: int
    faults: tuple[str, ...]
    walked: Walk


Progress = Callable[[str, int, int], None]  # of which part so much is done, of so much


def _silent(_part: str, _done: int, _of: int) -> None:
    return


def check_rows(
    c: Connection, asked: str | None = None, far: GoingOn | None = None, progress: Progress = _silent
) -> RowsCheck:
    """Check the database of a log: its form, chain, guards and rows. No file of a photo is looked at."""
    far = far or GoingOn()
    faults = _part(c, "database", _inside) if not far.resumed else []
    form = _form(c)
    faults += form
    walked = Walk()
    count = many = 0

    def came_to(place: Place) -> None:
        far.at(place)
        progress("rows", place.n, links)

    try:
        links = chain_head(c).n if inspect(c).has_table("chain") else 0
        walked = walk(c, asked, start=far.place, row_fault=row_fault, each=came_to)
        many = int(c.execute(select(func.count()).select_from(photos)).scalar_one())
        count = int(c.execute(select(func.count()).select_from(entries)).scalar_one())
    except DatabaseError as problem:
        faults.append(_sentence(c, "chain", problem))
    faults += walked.faults
    for name, part in (
        ("guards", guard_faults if not form else _nothing),
        ("rows", faults_without_chain),
        ("entries", naming_faults),
        ("sums", sum_faults if not form else _nothing),
    ):
        faults += _part(c, name, part)
    return RowsCheck(count, many, tuple(dict.fromkeys(faults)), walked)


def check_log(
    database: Database,
    data: Path,
    asked: str | None = None,
    *,
    keep: Path | None = None,
    anew: bool = False,
    progress: Progress = _silent,
) -> LogCheck:
    """Check the log in ``data``. Reads every photo, in its store where there is one.

    Parameters
    ----------
    asked
        The first digits of a head that some report shows.
    keep
        A file to keep in it how far the check is; one that was stopped goes on from there, unless ``anew``.
    progress
        Told now and then how much is done.

    Raises
    ------
    StoreAway
        If the store of photos does not answer; the check goes on from there the next time.
    """
    files = FolderCheck()
    blobs = blobs_of(data, reading=True)
    with database.snapshot() as c:
        far = going_on(c, keep, anew=anew)
        try:
            rows = check_rows(c, asked, far, progress)
        except BaseException:
            far.keep()
            raise
    try:  # without the snapshot: a service that goes on writing would have to keep all that is new apart
        _photos(database, held(blobs), files, far, progress)
    except BaseException:
        far.keep()
        raise
    finally:
        blobs.close()
    far.done()
    walked = rows.walked
    faults = [*rows.faults, *files.faults, *check_profile_files(data / "profiles")]
    if asked is not None:
        faults += _asked(asked, walked)
    chain = ChainCheck(
        walked.head.n, walked.head.link, walked.began, walked.taken_up, walked.holds_to, asked, walked.asked
    )
    return LogCheck(
        rows.entries,
        rows.photos,
        tuple(dict.fromkeys(faults)),
        tuple(files.orphans),
        tuple(files.unfinished),
        tuple(files.strays),
        chain,
        far.began if far.resumed else None,
    )


_FOLDERS = [f"{n:02x}" for n in range(256)]  # photos lie in one by the first two digits of their hash


def _photos(database: Database, photos_held: Held, found: FolderCheck, far: GoingOn, progress: Progress) -> None:
    """Hold the photos against their rows, a folder at a time."""
    before = far.folders
    for place, folder in enumerate(_FOLDERS):
        of_folder = photos.c.sha256.between(folder + 62 * "0", folder + 62 * "f")
        rows = _known(database, of_folder, found)
        if place < before:  # looked at before it was stopped: only what came since
            photos_held.some(_known(database, and_(of_folder, photos.c.first_at >= far.began), found), found)
        else:
            photos_held.some(rows, found)
            far.looked_at(place + 1, found.faults)
        photos_held.others([sha256 for sha256, _size in rows], found, folder)
        progress("photos", place + 1, len(_FOLDERS))
    named = or_(*(photos.c.sha256.between(folder + 62 * "0", folder + 62 * "f") for folder in _FOLDERS))
    photos_held.some(_known(database, not_(named), found), found)  # no hash at all
    photos_held.beside(_FOLDERS, found)


def _known(database: Database, which: ColumnElement[bool], found: FolderCheck) -> list[tuple[str, int]]:
    """Photos that the log knows, by hash with their sizes."""
    query = select(photos.c.sha256, photos.c.size).where(which).order_by(photos.c.sha256)
    with database.read() as c:
        try:
            return [(str(row.sha256), row.size) for row in c.execute(query)]
        except DatabaseError as problem:
            found.faults.append(_sentence(c, "photos", problem))
            return []


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
