"""`stripread read`: photos of a strip on the card to pH."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import click

from stripread.errors import CallError

DEFAULT_PROFILE = "profile.toml"


@click.command("read")
@click.argument("photos", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--profile",
    type=click.Path(path_type=Path),
    help=f"What `stripread calibrate` wrote for these strips (default: {DEFAULT_PROFILE} in this folder).",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line, a photo each.")
@click.option(
    "--overlay",
    type=click.Path(path_type=Path),
    help="Write a picture of the reading: a PNG file for one photo, a folder for several.",
)
def command(photos: tuple[Path, ...], profile: Path | None, as_json: bool, overlay: Path | None) -> int:
    """Read the pH from PHOTOS of a strip lying on the printed card.

    Exit code 0 when every photo was read, 1 when one was refused, 2 when the call was wrong.
    """
    from service.many import read_many
    from service.overlay_paths import overlay_paths
    from service.show import ph_line
    from stripread.profile import load_profile

    path = profile or Path(DEFAULT_PROFILE)
    if profile is None and not path.exists():
        raise CallError("no profile: give --profile, made by `stripread calibrate` for your strips")
    learned = load_profile(path)
    for photo in photos:
        if not photo.is_file():
            raise CallError(f"no such photo: {photo}")
    places = overlay_paths(photos, overlay)
    refused = False
    for reading in read_many(photos, learned, places):
        refused = refused or reading.status == "refused"
        line = json.dumps(reading.to_dict()) if as_json else ph_line(reading)
        click.echo(line)
        sys.stdout.flush()
    return 1 if refused else 0
