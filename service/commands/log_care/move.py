"""`stripread log move`: the log's rows into another database, each of them checked there."""

from __future__ import annotations

import click

from stripread.errors import CallError
from stripread.words import _


@click.command("move")
@click.option(
    "--from", "old", required=True, metavar="URL", help="The log's database now: sqlite:///FOLDER/log.sqlite3."
)
@click.option("--to", "new", required=True, metavar="URL", help="An empty database: postgresql://USER@HOST/NAME.")
def move(old: str, new: str) -> int:
    """Move the log from one database to another, SQLite or PostgreSQL, and compare every row.

    Stop the service first, and start it with --database and the new URL. The old database is left as it is: nothing
    more is written there, or there would be two logs. Photos and profiles stay in the folder. If anything is wrong,
    nothing is left in the new database.
    """
    from sqlalchemy.exc import ArgumentError, SQLAlchemyError

    from service.commands.log_care.progress import told
    from service.log.archive.move import move as moved

    try:
        with told() as progress:
            done = moved(old, new, progress)
    except ArgumentError as problem:
        raise CallError(_("this is no database's URL: {problem}", problem=str(problem).splitlines()[0])) from None
    except (SQLAlchemyError, ImportError) as problem:
        raise CallError(_("nothing was moved: {problem}", problem=str(problem).splitlines()[0])) from None
    rows = done.rows
    click.echo(
        _(
            "{total} rows moved and compared: {batches} batches, {entries} entries, {events} notes and changes",
            total=sum(rows.values()),
            batches=rows["batches"],
            entries=rows["entries"],
            events=rows["events"],
        )
    )
    click.echo(f"head: {done.head}")
    return 0
