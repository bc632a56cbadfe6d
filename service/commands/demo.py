"""`stripread demo`: read the shipped photos of a made-up workshop."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from stripread.errors import CallError
from stripread.words import _

if TYPE_CHECKING:
    from stripread.results import SolidReading, TintReading

DEMO = Path(__file__).resolve().parents[1] / "demo"
DEPTH_MM = 25.0  # of the liquid in the demo's vials


@click.command("demo")
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("demo-out"),
    show_default=True,
    help="Folder for the pictures of the readings.",
)
@click.option(
    "--files", is_flag=True, help="Also copy the photos, the strip kind and the tables there, to try things on."
)
def command(out: Path, files: bool) -> int:
    """Read the shipped photos of a made-up batch being washed and converted; some are bad on purpose."""
    from service.terminal.demo_table import windows_table
    from service.terminal.lines import ph_table
    from service.terminal.photo_batch import read_solids, read_strips, read_tints
    from service.terminal.targets import made_folder
    from stripread.ph.profile import load_profile
    from stripread.tint.read import TintRequest

    profile = load_profile(DEMO / "profile.toml")
    photos = sorted((DEMO / "photos").glob("*.jpg"))
    made_folder(out, "--out")
    if files:
        copy_files(out)
    click.echo(
        _("Reading {n_photos} photos of a made-up batch of silver chloride being washed …", n_photos=len(photos)),
        file=sys.stderr,
    )
    readings = list(read_strips(photos, profile, [out / f"{p.stem}.png" for p in photos]))
    click.echo(ph_table(readings))
    windows = DEMO / "windows"
    tints, solids = sorted(windows.glob("tint-*.jpg")), sorted(windows.glob("solid-*.jpg"))
    click.echo(
        _("Reading {n_tints} photos of vials and {n_solids} of a solid …", n_tints=len(tints), n_solids=len(solids)),
        file=sys.stderr,
    )
    request = TintRequest(path_mm=DEPTH_MM)
    seen: list[TintReading | SolidReading] = list(read_tints(tints, request, [out / f"{p.stem}.png" for p in tints]))
    seen += read_solids(solids, None, [out / f"{p.stem}.png" for p in solids])
    click.echo("\n" + windows_table(seen))
    click.echo(
        _("\nA picture of every reading is in {out}/. The bad photos were refused or doubted on purpose.", out=out)
    )
    click.echo(
        _(
            "Acid, lye and ammonia burn; ammonia on silver makes explosives on standing: acidify at "
            "once, never store. Local rules and licensed practice go first."
        )
    )
    return 0


def copy_files(folder: Path) -> None:
    """Copy the photos, the strip kind, the profile and the tables there.

    Raises
    ------
    CallError
        If the folder doesn't take them.
    """
    try:
        for name in ("strip.toml", "profile.toml"):
            shutil.copy(DEMO / name, folder / name)
        for name in ("photos", "windows", "buffers"):
            shutil.copytree(DEMO / name, folder / name, dirs_exist_ok=True)
    except OSError as problem:
        raise CallError(
            _("can't write to {folder}: {value}", folder=folder, value=problem.strerror or problem)
        ) from None
