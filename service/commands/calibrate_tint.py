"""`stripread calibrate-tint`: standards of known copper to a response."""

from __future__ import annotations

from pathlib import Path

import click

from stripread.words import _


@click.command("calibrate-tint")
@click.argument("standards", type=click.Path(path_type=Path))
@click.option("--out", required=True, type=click.Path(path_type=Path), help="The profile to write.")
def command(standards: Path, out: Path) -> int:
    """Learn how blue copper is to your phone from STANDARDS, a CSV with the columns photo,mg_per_l,path_mm.

    Each photo shows a standard made with ammonia in excess in the left window and the same depth of blank in the right
    one. Some of 20 to 200 mg/L and two or three of nothing (0) are enough.
    """
    from calibration.response import learn_response
    from service.terminal.targets import check_target
    from stripread.tint.profile import save_tint_profile

    check_target(out, "--out", [standards])
    fit = learn_response(standards)
    save_tint_profile(fit.profile, out)
    click.echo(f"{out}: {fit.message}")
    for line in fit.left_out:
        click.echo(_("    left out: {line}", line=line))
    return 0
