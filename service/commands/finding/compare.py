"""`stripread batch compare`: batches beside each other, as table, CSV, JSON and picture."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from service.errors import ServiceError
from service.terminal.log_options import log_options, opened
from service.terminal.targets import check_target
from stripread.errors import CallError
from stripread.json_line import json_line
from stripread.words import _

if TYPE_CHECKING:
    from service.report.comparison import Comparison


@click.command("compare")
@click.argument("batches", nargs=-1, required=True, type=click.IntRange(min=1))
@click.option("--csv", "csv_file", type=click.Path(path_type=Path, dir_okay=False), help="CSV file to write.")
@click.option("--plot", type=click.Path(path_type=Path, dir_okay=False), help="Picture to write: .png, .svg or .pdf.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@log_options
def compare(  # noqa: PLR0917 - click gives them by name
    batches: tuple[int, ...], csv_file: Path | None, plot: Path | None, as_json: bool, data: Path, database: str | None
) -> int:
    """Two to eight BATCHES: washes, time, water, share held back, yield and silver lost by step."""
    from service.log.finding.compare import compare as compared

    form = _form(plot)
    for place, option in ((csv_file, "--csv"), (plot, "--plot")):
        if place is not None:
            check_target(place, option, form=".csv" if option == "--csv" else None)
    try:
        with opened(data, database, reading=True) as log, log.read() as c:
            found = compared(c, batches)
    except ServiceError as problem:
        raise CallError(problem.detail) from None
    click.echo(json_line(found.to_dict()) if as_json else _table(found))
    if csv_file is not None:
        from service.log.listing import csv_text

        _write(csv_file, csv_text(found.csv_rows()).encode())
    if plot is not None:
        from service.report.comparison_plot import comparison_picture

        _write(plot, comparison_picture(found, form))
    return 0


def _form(plot: Path | None) -> str:
    form = "" if plot is None else plot.suffix.lower().removeprefix(".")
    if plot is not None and form not in ("png", "svg", "pdf"):
        raise CallError(_("--plot ends in .png, .svg or .pdf, not {form}", form=plot.suffix or _("without an ending")))
    return form


def _table(found: Comparison) -> str:
    rows = found.table()
    widths = [max(len(row[n]) for row in rows) for n in range(len(rows[0]))]
    lines = ["  ".join(f"{cell:<{width}}" for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
    return "\n".join([lines[0], "-" * len(lines[0]), *lines[1:]])


def _write(place: Path, data: bytes) -> None:
    try:
        place.write_bytes(data)
    except OSError as problem:
        raise CallError(_("can't write {place}: {strerror}", place=place, strerror=problem.strerror)) from None
    click.echo(str(place), err=True)
