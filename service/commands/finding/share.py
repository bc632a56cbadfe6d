"""`stripread batch share`: one reading as a picture to send on."""

from __future__ import annotations

from pathlib import Path

import click

from service.terminal.log_options import log_options, opened
from service.terminal.targets import check_target
from stripread.errors import CallError
from stripread.words import _


@click.command("share")
@click.argument("entry", type=click.IntRange(min=1))
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), help="PNG file to write.")
@log_options
def share(entry: int, out: Path | None, data: Path, database: str | None) -> int:
    """ENTRY of the log as a picture: its drawing, value and interval, state, time, batch, and the cautions."""
    import tempfile

    from service.log import store
    from service.log.finding.sharing import shared_words
    from service.log.photos.place import blobs_of
    from service.readers.jobs import job_again
    from service.readers.photo_reader import PipelineReader
    from service.readers.pictures import NotAPicture
    from service.report.shared_picture import shared_picture

    place = out or Path(f"reading-{entry}.png")
    check_target(place, "--out", form=".png")
    with opened(data, database, reading=True) as log, log.read() as c, tempfile.TemporaryDirectory() as scratch:
        row = store.entry(c, entry)
        if row is None:
            raise CallError(_("there is no entry {entry}", entry=str(entry)))
        batch, profile = store.known_batch(c, row["batch_id"]), None
        words = shared_words(row, batch, store.corrector(c, entry))
        text = store.profile_text(c, row["profile_sha256"]) if row["profile_sha256"] else None
        if text is not None:
            profile = Path(scratch) / "profile.toml"
            profile.write_text(text, encoding="utf-8")
        try:
            drawing = PipelineReader().overlay(job_again(row, blobs_of(data, reading=True), profile))
        except (NotAPicture, OSError):
            raise CallError(
                _("the photo of entry {entry} is not there, or is no picture that can be shown", entry=str(entry))
            ) from None
    try:
        place.write_bytes(shared_picture(drawing, words))
    except OSError as problem:
        raise CallError(_("can't write {place}: {strerror}", place=place, strerror=problem.strerror)) from None
    click.echo(str(place))
    return 0
