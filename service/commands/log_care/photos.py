"""`stripread log photos`: where the log's photos are, and all of them to a store or back."""

from __future__ import annotations

from pathlib import Path

import click

from service.terminal.log_options import check_there, log_options, opened
from stripread.errors import CallError
from stripread.words import _

FOLDER = "folder"


@click.command("photos")
@click.option("--to", metavar="URL", help="Move them: to s3://BUCKET/FOLDER, or back to the data folder (folder).")
@log_options
def photos(to: str | None, data: Path, database: str | None) -> int:
    """Say where the photos of the log are, and how many wait to be sent there; with --to, move them.

    A store's options (keys, its address) are read from the environment. Each photo is held against its hash. Stop the
    service first. A move that is stopped goes on with the same command.
    """
    from service.commands.log_care.progress import told
    from service.folder_lock import only_one
    from service.log.photos.moving import to_folder, to_store
    from service.log.photos.place import blobs_of, store_url
    from service.log.photos.store import StoreAway

    check_there(data, database)
    if to is not None:
        try:
            with only_one(data), told() as progress:

                def tell(done: int, of: int) -> None:
                    progress("photos", done, of)

                if to == FOLDER:
                    with opened(data, database) as log:
                        moved = to_folder(log, data, tell)
                else:
                    moved = to_store(data, to, tell)
        except StoreAway as problem:
            text = _("{problem}; the same command goes on from there", problem=problem.strerror)
            raise CallError(text) from None
        click.echo(_("{moved} photos moved, each held against its hash", moved=moved))
    click.echo(store_url(data) or str(data / "photos"))
    waiting = len(blobs_of(data, reading=True).waiting())
    if waiting:
        click.echo(_("{waiting} photos wait on this computer to be sent there", waiting=waiting))
    return 0
