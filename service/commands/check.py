"""`stripread check`: is a calibration still true? Photos at known pH against the profile's promise."""

from __future__ import annotations

import os
from pathlib import Path

import click

from stripread.errors import CallError
from stripread.json_line import json_line
from stripread.words import _


@click.command("check")
@click.argument("profile", type=click.Path(path_type=Path))
@click.option(
    "--buffers",
    required=True,
    type=click.Path(path_type=Path),
    help="CSV of new photos at known pH: photo,ph (or photo,buffer,temp_c for a standard buffer by name).",
)
@click.option("--out", type=click.Path(path_type=Path), help="Write a picture of the check (PNG).")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def command(profile: Path, buffers: Path, out: Path | None, as_json: bool) -> int:
    """Read new photos of strips at known pH with PROFILE and say whether its calibration still holds.

    Five photos or more at three pH values or more, not those that the profile was made with. Exit code 0 when every
    photo was read, 1 when one was refused, 2 when the call was wrong; the verdict stands in the output.
    """
    # Several processes read: threads of the linear algebra would only wait for each other.
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    from calibration.check import check, to_dict
    from calibration.check_words import in_words
    from calibration.tables import read_buffers
    from service.terminal.photo_batch import read_strips
    from service.terminal.targets import check_target
    from stripread.ph.profile import load_profile

    learned = load_profile(profile)
    rows = read_buffers(buffers)
    if out is not None:
        check_target(out, "--out", [profile, buffers, *(row.path for row in rows)], ".png")
    readings = list(read_strips([row.path for row in rows], learned, [None] * len(rows)))
    found = check(rows, readings, learned)
    if out is not None:
        from calibration.check_picture import picture_of

        try:
            out.write_bytes(picture_of(found, learned))
        except OSError as problem:
            raise CallError(_("can't write {out}: {strerror}", out=out, strerror=problem.strerror)) from None
    click.echo(json_line(to_dict(found, learned.name)) if as_json else in_words(found, learned.name))
    return 1 if found.status("refused") else 0
