"""`stripread card`: the reference card to print, and its layout for outside measurements."""

from __future__ import annotations

from pathlib import Path

import click

from service.terminal.quantity_types import Quantity
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
@click.option(
    "--judge",
    type=click.Path(path_type=Path),
    help="A photo of the printed card, nothing laid on it: is the print good?",
)
@click.option(
    "--measured-mm", type=Quantity("measured_mm"), help="With --judge: length of the sheet's bar by a ruler, mm."
)
@click.option("--json", "as_json", is_flag=True, help="With --judge: one JSON object.")
def command(  # noqa: PLR0917 - the command's options
    out: Path | None, paper: str, as_layout: bool, judge: Path | None, measured_mm: float | None, as_json: bool
) -> int:
    """Write the reference card, to be printed at 100 % in colour on matt paper; or judge a print of it.

    With --judge the exit code is 0 for a good print, 1 where the photo was refused or the print is not good, 2 when the
    call was wrong.
    """
    if judge is not None:
        if out is not None or as_layout:
            raise CallError(_("--judge looks at a print: give it without --out and --layout"))
        return _judge(judge, measured_mm, as_json=as_json)
    if measured_mm is not None or as_json:
        raise CallError(_("--measured-mm and --json go with --judge, a photo of the printed card"))
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


def _judge(photo: Path, measured_mm: float | None, *, as_json: bool) -> int:
    """Say whether a printed card is good."""
    from service.terminal.photo_batch import check_photos
    from stripread.json_line import json_line
    from stripread.printed.judge import judge_card

    check_photos((photo,))
    judged = judge_card(photo.read_bytes(), str(photo), measured_mm)
    told = judged.to_dict()
    if as_json:
        click.echo(json_line(told))
    else:
        lines = [f"{photo}: {told['message']}", *(f"    {check.message}" for check in judged.checks)]
        click.echo("\n".join(lines))
    return 0 if judged.verdict == "ok" else 1
