"""`stripread solid`: photos of a settled or stirred solid to its colour and pale share."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from stripread.errors import CallError
from stripread.json_line import json_line
from stripread.words import _


@click.command("solid")
@click.argument("photos", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--region", help="Where the solid lies, as x,y,w,h in mm on the card (default: in the left window).")
@click.option("--series", is_flag=True, help="One batch in time order: tell when the pale share has stopped falling.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line, a photo each.")
@click.option(
    "--overlay", type=click.Path(path_type=Path), help="Write a picture: a PNG file for one photo, else a folder."
)
def command(photos: tuple[Path, ...], region: str | None, series: bool, as_json: bool, overlay: Path | None) -> int:
    """Read the colour and the pale share of a solid in PHOTOS.

    Stir and spread the solid in the left window or in a flat dish standing there: dark oxide coats white chloride, so
    that only a stirred surface shows what is left. With --series the last line says whether the share still falls.

    Exit code 0 when every photo was read, 1 when one was refused, 2 when the call was wrong.
    """
    from service.terminal.once import said_once
    from service.terminal.photo_batch import read_solids
    from service.terminal.picture_paths import overlay_paths
    from service.terminal.window_lines import solid_lines
    from stripread.solid.series import settled

    place = None if region is None else _rect(region)
    readings = []
    with said_once(click.echo) as run:
        for reading in read_solids(photos, place, overlay_paths(photos, overlay)):
            readings.append(reading)
            click.echo(json_line(reading.to_dict()) if as_json else solid_lines(reading, run))
            sys.stdout.flush()
    if series:
        verdict = settled([(r.pale_fraction, r.pale_interval) for r in readings])
        click.echo(json_line({"kind": "series", **verdict.to_dict()}) if as_json else verdict.message)
    return 1 if any(r.status == "refused" for r in readings) else 0


def _rect(text: str) -> tuple[float, float, float, float]:
    try:
        x, y, w, h = (float(part) for part in text.split(","))
    except ValueError:
        raise CallError(_("--region takes four numbers x,y,w,h in mm, not '{text}'", text=text)) from None
    if not (w > 0 and h > 0):
        raise CallError(_("--region: width and height must be more than nothing"))
    return (x, y, w, h)
