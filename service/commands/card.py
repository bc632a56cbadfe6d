"""`stripread card`: the reference card to print, and its layout for outside measurements."""

from __future__ import annotations

from pathlib import Path

import click

from stripread.errors import CallError
from stripread.words import _


@click.command("card")
@click.option("--out", type=click.Path(path_type=Path), help="The PDF to write: one sheet with two cards.")
@click.option(
    "--paper",
    type=click.Choice(["a4", "letter"], case_sensitive=False),
    default="a4",
    show_default=True,
    help="The paper in the printer.",
)
@click.option("--layout", "as_layout", is_flag=True, help="Print where everything lies on the card, as JSON.")
def command(out: Path | None, paper: str, as_layout: bool) -> int:
    """Write the reference card, to be printed at 100 % in colour on matt paper."""
    from service.terminal.targets import check_target
    from stripread.card.layout import layout_json
    from stripread.card.pdf import PAPERS, draw_sheet

    if out is None and not as_layout:
        raise CallError(_("nothing to do: give --out card.pdf for the card to print, or --layout for its JSON"))
    page = PAPERS[paper]
    if out is not None:
        check_target(out, "--out", form=".pdf")
        try:
            out.write_bytes(draw_sheet(paper))
        except OSError as problem:
            raise CallError(_("can't write {out}: {value}", out=out, value=problem.strerror or problem)) from None
    if as_layout:
        click.echo(layout_json(page.size_mm, page.origins_mm[0]))
    else:
        click.echo(
            _("{out}: two cards on {title}. Print at 100 %, in colour, on matt paper.", out=out, title=page.title)
        )
    return 0
