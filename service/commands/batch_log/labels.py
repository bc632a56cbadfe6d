"""`stripread batch labels`: a sheet of labels to print and cut out for the vessels of a batch."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from service.terminal.log_options import log_options, opened
from service.terminal.targets import check_target
from stripread.errors import CallError
from stripread.words import _


@click.command("labels")
@click.argument("batch", type=click.IntRange(min=1))
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    default=Path("labels.pdf"),
    show_default=True,
    help="File to write, .pdf.",
)
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="The paper's size.")
@click.option(
    "--address", metavar="URL", help="Where the codes lead: the page; if not said, this computer's port 8000."
)
@log_options
def labels(batch: int, out: Path, data: Path, database: str | None, **how: Any) -> int:  # noqa: ANN401 - click's options
    """Write labels for the vessels of BATCH: contents by the log, warnings, and a code that opens the batch."""
    from service.authority.names import lan_address
    from service.log.course.labels import label_sheet
    from service.report.labels.address import page_root
    from service.report.labels.paper import labels_pdf

    root = page_root(how["address"] or f"http://{lan_address()}:8000")
    check_target(out, "--out", form=".pdf")
    with opened(data, database, reading=True) as log, log.read() as c:
        sheet = label_sheet(c, batch, root)
    made = labels_pdf(sheet, how["paper"])
    try:
        out.write_bytes(made)
    except OSError as problem:
        raise CallError(_("can't write {place}: {strerror}", place=out, strerror=problem.strerror)) from None
    click.echo(str(out))
    if how["address"] is None:
        click.echo(_("The codes lead to {root}: --address if the page has another.", root=root), err=True)
    return 0
