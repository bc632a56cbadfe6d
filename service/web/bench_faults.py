"""Whose fault an error of the disk or of the database is: always the bench computer's, never the photo's.

Full is 507 (somebody must make room); all else is 503 with when to try again, and says what to do.
"""

from __future__ import annotations

import errno
import os
from pathlib import Path

from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from service.errors import BenchBusy, Conflict, DiskFull, ServiceError
from service.log.database import busy
from service.log.photos.store import NotTheSame, StoreAway
from stripread.words import _

# Out of space or of quota: the same to the client. EFBIG is what a file size limit gives.
_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
_NOT_WRITABLE = {errno.EROFS, errno.EACCES, errno.EPERM}
# Primary result codes of SQLite (sqlite.org/rescode.html); the extended ones have more bits above these eight.
_SQLITE_READONLY, _SQLITE_IOERR, _SQLITE_CORRUPT, _SQLITE_FULL, _SQLITE_CANTOPEN, _SQLITE_NOTADB = 8, 10, 11, 13, 14, 26
# PostgreSQL's SQLSTATE (its manual, appendix "Error Codes").
_PG_DISK_FULL, _PG_READ_ONLY, _PG_IO_ERROR = "53100", "25006", "58030"
_ROOM = 1024 * 1024  # a disk with less is full: SQLite calls it an I/O error when it can't make its index of the WAL


def fault_of(error: BaseException, folder: Path | None = None) -> ServiceError | None:
    """The bench computer's fault that an error amounts to, or None if it is neither of the disk nor of the database.

    ``folder`` is that of the log.
    """
    seen: BaseException | None = error
    while seen is not None:
        if isinstance(seen, StoreAway):
            return BenchBusy(
                "store_away",
                _(
                    "The store of photos does not answer, and this needs a photo from there. Nothing is lost; "
                    "try again in a moment."
                ),
                30,
            )
        if isinstance(seen, NotTheSame):
            return Conflict(
                "photo_changed",
                _("A photo in the store is not what it was. `stripread log check` on the bench computer says which."),
            )
        if isinstance(seen, OSError):
            return _of_disk(seen.errno)
        if isinstance(seen, DBAPIError):
            return _of_database(seen.orig, folder)
        seen = seen.__cause__
    return busy() if isinstance(error, SQLAlchemyError) else None


def _of_disk(number: int | None) -> ServiceError:
    if number in _FULL:
        return _full()
    return _not_writable() if number in _NOT_WRITABLE else _disk_trouble()


def _of_database(error: BaseException | None, folder: Path | None) -> ServiceError:
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    state = getattr(error, "sqlstate", None)
    if code == _SQLITE_FULL or state == _PG_DISK_FULL:
        return _full()
    if code == _SQLITE_READONLY or state == _PG_READ_ONLY:
        return _not_writable()
    if code in (_SQLITE_IOERR, _SQLITE_CANTOPEN):
        return _full() if folder is not None and _has_no_room(folder) else _disk_trouble()
    if state == _PG_IO_ERROR:
        return _disk_trouble()
    if code in (_SQLITE_CORRUPT, _SQLITE_NOTADB):
        return BenchBusy(
            "database_damaged",
            _("The log's database is damaged. Nothing was stored. Stop the service and run `stripread log check`."),
            60,
        )
    return busy()


def _has_no_room(folder: Path) -> bool:
    try:
        disk = os.statvfs(folder)
    except OSError:
        return False
    return disk.f_bavail * disk.f_frsize < _ROOM


def _full() -> DiskFull:
    return DiskFull(
        "disk_full", _("The disk of the log is full. Nothing was stored. Free some space and send it again."), 60
    )


def _not_writable() -> BenchBusy:
    return BenchBusy(
        "not_writable",
        _(
            "The folder of the log can't be written: it is read-only, or the service has no right to. "
            "Nothing was stored. Make it writable on the bench computer and send it again."
        ),
        60,
    )


def _disk_trouble() -> BenchBusy:
    return BenchBusy(
        "disk_trouble",
        _(
            "The bench computer can't read or write the log's files. Nothing was stored. Look after its "
            "disk, and send it again."
        ),
        30,
    )
