"""`stripread calibrate`: learn a strip kind from buffers, from the maker's chart, or from both."""

from __future__ import annotations

import os
from pathlib import Path

import click

from stripread.words import _


@click.command("calibrate")
@click.argument("kind", type=click.Path(path_type=Path))
@click.option(
    "--buffers",
    type=click.Path(path_type=Path),
    help="CSV of photos at known pH: photo,ph (or photo,buffer,temp_c for a standard buffer by name).",
)
@click.option(
    "--chart",
    type=click.Path(path_type=Path),
    help="CSV of the maker's chart: ph,pad,L,a,b or, photographed on the card, ph,pad,photo,x_mm,y_mm.",
)
@click.option(
    "--card-values",
    type=click.Path(path_type=Path),
    help="CSV of your own measurements of the printed card: patch,L,a,b or patch and one column a wavelength.",
)
@click.option("--out", required=True, type=click.Path(path_type=Path), help="The profile to write.")
def command(kind: Path, buffers: Path | None, chart: Path | None, card_values: Path | None, out: Path) -> int:
    """Learn the strips described in KIND (a TOML file) and write a profile for `stripread read`.

    Five buffers or more over the strip's range, each photographed twice, make a good profile: with the phone and in the
    light that will read, or in different light where several will.
    """
    # The fit is many small matrices: threads of the linear algebra would only wait for each other.
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    from calibration.learn import learn
    from calibration.report import report
    from calibration.strangers.suspicion import in_words
    from service.terminal.targets import check_target
    from stripread.kind import load_kind
    from stripread.ph.profile import save_profile

    check_target(out, "--out", [path for path in (kind, buffers, chart, card_values) if path is not None])
    learned = learn(load_kind(kind), buffers=buffers, chart=chart, card_values=card_values)
    for photo in learned.left_out:
        click.echo(_("left out {name}: {why}", name=photo.name, why=photo.why), err=True)
    save_profile(learned.profile, out)
    known = list(learned.known)
    mixed = [*learned.odd_warmth, *(in_words(one, known) for one in learned.suspected)]
    click.echo(report(learned.profile, learned.fit, known, mixed))
    click.echo(_("\n{out} written.", out=out))
    return 0
