"""`stripread log recount`: the sums that keep a large log quick, made anew from its rows."""

from __future__ import annotations

from pathlib import Path

import click

from service.terminal.log_options import log_options, opened
from stripread.words import _


@click.command("recount")
@log_options
def recount(data: Path, database: str | None) -> int:
    """Make the sums anew that are kept to be quick: entries by batch, what the stock vessel holds, what went
    from batch to batch, which bench has which batch, the words that the search reads.

    They prove nothing and no row of the log is touched. `log check` says where they are wrong.
    """
    from sqlalchemy import delete

    from service.log.aside.sums import count_all
    from service.log.benches.owners import recount_owners
    from service.log.models import batch_sums, vessel_sums
    from service.log.noted.links import recount_links
    from service.log.noted.stock_silver import recount_stock
    from service.log.noted.vessel import keep_due
    from service.log.search_words.recount import recount_words

    with opened(data, database) as log, log.write(alone=True) as c:
        c.execute(delete(batch_sums))
        c.execute(delete(vessel_sums))
        count_all(c)
        keep_due(c)
        recount_links(c)
        recount_stock(c)
        recount_owners(c)
        recount_words(c)
    click.echo(_("counted anew"))
    return 0
