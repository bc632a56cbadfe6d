"""`stripread log`: the log of the bench service."""

from __future__ import annotations

from pathlib import Path

import click

from stripread.errors import CallError
from stripread.json_line import json_line


@click.group("log")
def command() -> None:
    """Look after the log of the bench service."""


@command.command("check")
@click.option("--data", type=click.Path(path_type=Path), default=Path("stripread-data"), help="Folder of the log.")
@click.option("--database", help="SQLAlchemy URL, if it is not SQLite in the data folder.")
@click.option("--json", "as_json", is_flag=True, help="Print the findings as JSON.")
def check(data: Path, database: str | None, as_json: bool) -> int:
    """Verify rows, files and hashes against each other, and name photos that no entry names.

    Exit code 0 when every entry has all that it names, 1 when not.
    """
    from dataclasses import asdict

    from sqlalchemy.exc import SQLAlchemyError

    from service.log.check import check_log
    from service.log.database import Database
    from service.settings import Settings
    from service.terminal.log_options import check_there

    check_there(data, database)
    try:
        found = check_log(Database(Settings(data, database).database_url), data)
    except SQLAlchemyError as problem:
        raise CallError(f"can't read the log: {str(problem).splitlines()[0]}") from None
    if as_json:
        click.echo(json_line(asdict(found)))
        return 0 if found.whole else 1
    click.echo(f"{found.entries} entries, {found.photos} photos: " + ("whole" if found.whole else "NOT WHOLE"))
    for fault in found.faults:
        click.echo(f"  fault: {fault}")
    for orphan in found.orphans:
        click.echo(f"  orphan: photo {orphan} was sent, but its post was cut off before it was logged")
    for name in found.unfinished:
        click.echo(f"  unfinished: {name} (removed when the service starts)")
    return 0 if found.whole else 1
