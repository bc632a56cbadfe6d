"""`stripread batch close` and `batch reopen`: a batch that is done takes no more; opened again it does."""

from __future__ import annotations

from pathlib import Path

import click

from service.terminal.log_options import log_options, opened
from stripread.errors import CallError
from stripread.words import _


@click.command("close")
@click.argument("batch", type=click.IntRange(min=1))
@log_options
def close(batch: int, data: Path, database: str | None) -> int:
    """Close BATCH: it takes no more photos and notes until it is opened again."""
    return _turn(batch, data, database, closed=True, why={})


@click.command("reopen")
@click.argument("batch", type=click.IntRange(min=1))
@click.option("--reason", required=True, help="Why; the log keeps it.")
@click.option("--who", help="Who says so.")
@log_options
def reopen(batch: int, reason: str, who: str | None, data: Path, database: str | None) -> int:
    """Open BATCH again, with the reason that the log keeps."""
    if not reason.strip():
        raise CallError(_("--reason: say why it is opened again"))
    why = {"reason": reason.strip()[:1000]} | ({"who": who.strip()[:100]} if who and who.strip() else {})
    return _turn(batch, data, database, closed=False, why=why)


def _turn(batch: int, data: Path, database: str | None, *, closed: bool, why: dict[str, str]) -> int:
    from service.log import store

    with opened(data, database) as log, log.write() as c:
        row = store.batch(c, batch)
        if row is None:
            raise CallError(_("there is no batch {batch}", batch=batch))
        if closed == (row["closed_at"] is not None):
            n = {"batch": str(batch)}
            raise CallError(
                _("batch {batch} is closed already", **n) if closed else _("batch {batch} is open already", **n)
            )
        store.change_batch(c, batch, name=None, closed=closed, details=None, why=why)
    said = {"batch": str(batch)}
    click.echo(_("batch {batch} is closed", **said) if closed else _("batch {batch} is open", **said))
    return 0
