"""`stripread reread`: read a batch's photos, or the archive's, again and say what changed."""

from __future__ import annotations

from pathlib import Path

import click

from stripread.errors import CallError
from stripread.words import _


@click.command("reread")
@click.argument("batch", type=click.IntRange(min=1), required=False)
@click.option("--data", type=click.Path(path_type=Path), default=Path("stripread-data"), help="Folder of the log.")
@click.option("--database", help="SQLAlchemy URL, if it is not SQLite in the data folder.")
@click.option("--keep", is_flag=True, help="Log what changed as new entries; else only say it.")
@click.option("--json", "as_json", is_flag=True, help="Print the findings as JSON.")
@click.option("--all", "every", is_flag=True, help="The whole archive, into a report.")
@click.option("--since", metavar="DATE", help="What was logged since then (2025-05-12), into a report.")
@click.option("--batch", "batches", type=click.IntRange(min=1), multiple=True, help="This batch, into a report; again.")
@click.option("--profile", type=click.Path(path_type=Path), help="Strips with this profile, not that of then.")
@click.option("--out", type=click.Path(path_type=Path, file_okay=False), help="Folder of the report (reread).")
@click.option("--cluster", metavar="URL", help="Let the workers of this Dask scheduler read: tcp://HOST:8786.")
@click.option("--workers", type=click.IntRange(1, 256), help="Photos read at once (default: one for each core).")
def command(  # noqa: PLR0917 - one parameter for each option
    batch: int | None,
    data: Path,
    database: str | None,
    keep: bool,
    as_json: bool,
    every: bool,
    since: str | None,
    batches: tuple[int, ...],
    profile: Path | None,
    out: Path | None,
    cluster: str | None,
    workers: int | None,
) -> int:
    """Read the photos of BATCH again, with this version and the profiles of then, and say what changed.

    With --all, --since or --batch the archive is read again, on all cores, also while the service runs: values,
    statuses and gates that change go into a folder as table, page and plot, and nothing in the log is changed. Ended
    by whatever, the same command goes on from there. For BATCH the service must not be running on the same data folder.
    """
    if every or batches or any(said is not None for said in (since, profile, out, cluster, workers)):
        how = (profile, out, keep, workers, cluster)
        return _archive(batch, (every, since, batches), how, (data, database, as_json))
    if batch is None:
        raise CallError(_("name a BATCH, or --all, --since DATE or --batch N"))
    return _batch(batch, data, database, keep, as_json)


def _archive(
    batch: int | None,
    which: tuple[bool, str | None, tuple[int, ...]],
    how: tuple[Path | None, Path | None, bool, int | None, str | None],
    log: tuple[Path, str | None, bool],
) -> int:
    import os

    from service.commands.log_care.reread_archive import Wanted, reread_archive
    from service.settings import Settings
    from service.terminal.log_options import check_there

    every, since, batches = which
    profile, out, keep, workers, cluster = how
    data, database, as_json = log
    batches = (*batches, *(() if batch is None else (batch,)))
    if every and (batches or since is not None):
        raise CallError(_("--all goes without --since and without batches"))
    if not every and not batches and since is None:
        raise CallError(_("say what to read again: --all, --since DATE or --batch N"))
    check_there(data, database)
    wanted = Wanted(
        batches,
        None if since is None else _moment(since),
        profile,
        out or Path("reread"),
        keep,
        workers or os.cpu_count() or 1,
        cluster,
    )
    return reread_archive(Settings(data, database), wanted, as_json=as_json)


def _moment(text: str) -> str:
    """A date as the log has its times, UTC."""
    from datetime import UTC, datetime

    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        raise CallError(_("--since takes a date such as 2025-05-12, not {text!r}", text=text)) from None
    at = at if at.tzinfo is not None else at.replace(tzinfo=UTC)
    return at.astimezone(UTC).isoformat(timespec="microseconds")


def _batch(batch: int, data: Path, database: str | None, keep: bool, as_json: bool) -> int:
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
    for failed in found.failed:
        text = _("  entry {number}: its photo could not be read: {why}", number=failed.entry, why=failed.why)
        click.echo(text)
    return 0
