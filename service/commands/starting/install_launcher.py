"""`stripread install-launcher`: something to press that starts the bench service."""

from __future__ import annotations

import sys
from pathlib import Path

import click
from platformdirs import user_data_path

from stripread.words import _


@click.command("install-launcher")
@click.option(
    "--folder",
    type=click.Path(path_type=Path, file_okay=False),
    help="Where to put it (default: this system's menu of programs, or the desktop).",
)
@click.option(
    "--data",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder of the log that it opens (default: this user's data folder).",
)
@click.option("--lan", is_flag=True, help="Let phones of this network join, as `stripread serve --lan` does.")
def command(folder: Path | None, data: Path | None, lan: bool) -> None:
    """Write what this system starts a program with: press it, and the bench service runs and its page opens."""
    from service.launcher.install import install

    log = (data or user_data_path("stripread", appauthor=False)).absolute()
    for written in install(sys.platform, folder, log, lan=lan):
        if written.changed:
            click.echo(_("written: {path}  ({what})", path=written.path, what=written.what))
        else:
            click.echo(_("was there already: {path}  ({what})", path=written.path, what=written.what))
    click.echo(_("The log is kept in {log}. Closing the window that opens stops the service.", log=log))
