"""What the commands on a local log share: where it is, and opening it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from service.terminal.targets import made_folder
from stripread.errors import CallError
from stripread.words import _

if TYPE_CHECKING:
    from service.log.database import Database


def log_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add ``--data`` and ``--database``."""
    command = click.option("--database", help="SQLAlchemy URL, if it is not SQLite in the data folder.")(command)
    return click.option(
        "--data", type=click.Path(path_type=Path), default=Path("stripread-data"), help="Folder of the log."
    )(command)


@contextmanager
def opened(data: Path, database: str | None, make: bool = False, *, reading: bool = False) -> Iterator[Database]:
    """The log, brought up to date; ``make`` makes its folder.

    ``reading``: nothing will be written, so that a copy that nobody may write to is read as it stands.

    Raises
    ------
    CallError
        If the folder is not there or the database can't be used.
    """
    from sqlalchemy.exc import OperationalError, SQLAlchemyError

    from service.log.database import Database
    from service.settings import Settings

    if make:
        made_folder(data, "--data")
    elif not data.is_dir():
        raise no_folder(data)
    url = Settings(data, database).database_url
    log = Database(url)
    try:
        try:
            log.migrate()
        except OperationalError:
            if not reading:
                raise
            log.close()
            log = Database(url, read_only=True)
            log.check_form()
        yield log
    except SQLAlchemyError as problem:
        raise CallError(_("can't use the log: {splitlines_0}", splitlines_0=str(problem).splitlines()[0])) from None
    finally:
        log.close()


def check_there(data: Path, database: str | None) -> None:
    """Say that there is no log, instead of making an empty one by looking into it.

    Raises
    ------
    CallError
        If the folder or its database is not there.
    """
    if not data.is_dir():
        raise no_folder(data)
    if database is None and not (data / "log.sqlite3").is_file():
        raise CallError(
            _("there is no log in {data}; `stripread batch new NAME` or `stripread serve` makes it", data=data)
        )


def no_folder(data: Path) -> CallError:
    """There is no log there."""
    return CallError(_("no such folder: {data}; `stripread batch new NAME` or `stripread serve` makes it", data=data))
