"""`stripread batch vessels`: where the silver of a batch is, vessel by vessel, and where some may be missing."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from service.terminal.log_options import log_options, opened
from stripread.json_line import json_line
from stripread.words import _

if TYPE_CHECKING:
    from service.bench.ledger.ledger import Ledger


@click.command("vessels")
@click.argument("batch", type=click.IntRange(min=1))
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@log_options
def vessels(batch: int, as_json: bool, data: Path, database: str | None) -> int:
    """Where the silver of BATCH is: each vessel with its range, and what may be missing, largest first."""
    from service.bench.ledger.view import ledger_view
    from service.errors import NotFound
    from service.log import store
    from service.log.course.vessels import batch_ledger
    from stripread.errors import CallError

    with opened(data, database, reading=True) as log, log.read() as c:
        try:
            zone = store.known_batch(c, batch)["zone"]
            found = batch_ledger(c, batch)
        except NotFound as lost:
            raise CallError(lost.detail.rstrip(".")) from None
    click.echo(json_line(ledger_view(found).model_dump(mode="json")) if as_json else _lines(found, zone))
    return 0


def _lines(found: Ledger, zone: str) -> str:
    from service.bench.chemistry.reagents import RULES
    from service.bench.ledger.view import from_to, missing_words, rows_of
    from service.moments import in_zone, spoken
    from stripread.words import say

    rows = [(*row[:3], spoken(in_zone(row[3], zone)) if row[3] else "") for row in rows_of(found)]
    wide = [max([len(row[place]) for row in rows], default=0) for place in range(3)]
    lines = [_("Came in: {silver}", silver=from_to(found.inputs_g))]
    lines += ["  ".join([*(cell.ljust(wide[n]) for n, cell in enumerate(row[:3])), row[3]]).rstrip() for row in rows]
    lines += ["", found.sentence]
    if found.missing:
        lines.append(_("Where some may be, largest first:"))
    lines += [f"  {one.name}: {missing_words(one)}" for one in found.missing]
    return "\n".join([*lines, say(RULES)])
