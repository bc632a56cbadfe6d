"""`stripread reread`: read a batch's photos again and say what changed."""

from __future__ import annotations

from pathlib import Path

import click

from stripread.errors import CallError
from stripread.words import _


@click.command("reread")
@click.argument("batch", type=click.IntRange(min=1))
@click.option("--data", type=click.Path(path_type=Path), default=Path("stripread-data"), help="Folder of the log.")
@click.option("--database", help="SQLAlchemy URL, if it is not SQLite in the data folder.")
@click.option("--keep", is_flag=True, help="Log what changed as new entries; else only say it.")
@click.option("--json", "as_json", is_flag=True, help="Print the findings as JSON.")
def command(batch: int, data: Path, database: str | None, keep: bool, as_json: bool) -> int:
    """Read the photos of BATCH again, with this version and the profiles of then, and say what changed.

    The service must not be running on the same data folder.
    """
    import asyncio

    from service.errors import ServiceError
    from service.readers.reread import reread_batch
    from service.settings import Settings
    from service.terminal.log_options import check_there
    from service.web.components import Service

    check_there(data, database)
    try:
        service = Service.start(Settings(data, database))
    except OSError as problem:
        text = _(
            "can't write into {data}: {strerror}; to read again, copy the folder where it can be written to",
            data=data,
            strerror=problem.strerror,
        )
        raise CallError(text) from None
    try:
        found = asyncio.run(reread_batch(service, batch, keep))
    except ServiceError as problem:
        raise CallError(problem.detail.rstrip(".")) from None
    finally:
        asyncio.run(service.stop())
    if as_json:
        click.echo(found.model_dump_json())
        return 0
    click.echo(
        _(
            "{read} read again with {software}: {same} the same, {n_changes} changed",
            read=found.read,
            software=found.software,
            same=found.same,
            n_changes=len(found.changes),
        )
    )
    for change in found.changes:
        new = f" -> entry {change.new_entry}" if change.new_entry else ""
        click.echo(
            _("  entry {entry}{new}: ", entry=change.entry, new=new)
            + ", ".join(f"{k} {change.was[k]} -> {change.now[k]}" for k in change.changed)
        )
    for number in found.missing:
        click.echo(
            _(
                "  entry {number}: its photo, its profile, or what was said beside the photo is lost: add it again",
                number=number,
            )
        )
    return 0
