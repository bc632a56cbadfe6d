"""Judge a folder of real photos: ``python -m tests.real_photos FOLDER``; its page comes to lie in ``FOLDER/study``.

Either all of it is written or nothing; a study that stood there before makes way only for a whole new one.
"""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path

import click
from tqdm import tqdm

from stripread.errors import CallError
from stripread.ph.profile import save_profile
from tests.coverage_study import fingerprint
from tests.real_photos.judge import judge, make_profiles
from tests.real_photos.page import PAGE, ROWS, write_study
from tests.real_photos.table import read_table


def study(folder: Path, out: Path, workers: int) -> Path:
    """Everything, top to bottom; returns the page's path.

    Raises
    ------
    CallError
        If the table, a profile or the folder to write to does not do.
    """
    if out.exists() and not ((out / PAGE).is_file() and (out / ROWS).is_file()):
        raise CallError(f"{out} is there and was not written by this command: give another folder with --out")
    photos = read_table(folder)
    if not any(p.use == "read" for p in photos):
        raise CallError(f"{folder}: no line has use = read, so there is nothing to judge")
    made = make_profiles(photos)
    to_read = sum(p.use == "read" for p in photos)
    with tqdm(total=to_read, unit="photo", file=sys.stderr, disable=not sys.stderr.isatty()) as bar:
        rows = judge(photos, made, workers, lambda _: bar.update())
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=out.parent, prefix=".study-") as scratch:
            new, old = Path(scratch) / "new", Path(scratch) / "old"
            (new / "profiles").mkdir(parents=True)
            for name, one in made.items():
                if one.photos:
                    save_profile(one.profile, new / "profiles" / f"{name}.toml")
            write_study(new, photos, made, rows, fingerprint(rendered=False))
            if out.exists():
                out.replace(old)
            try:
                new.replace(out)
            except OSError:
                if old.exists():
                    old.replace(out)
                raise
    except OSError as problem:
        raise CallError(f"can't write {out}: {problem.strerror}") from None
    return out / PAGE


@click.command()
@click.argument("folder", type=click.Path(path_type=Path, exists=True, file_okay=False))
@click.option("--out", type=click.Path(path_type=Path), help="Folder of the page (default: FOLDER/study).")
@click.option("--workers", default=os.cpu_count() or 1, show_default=True, help="Processes that read photos.")
def main(folder: Path, out: Path | None, workers: int) -> None:
    """Calibrate with, and read, the photos of FOLDER/photos.csv, and write what came of it."""
    try:
        click.echo(f"written: {study(folder, out or folder / 'study', workers)}")
    except CallError as problem:
        click.echo(f"real_photos: {problem}", err=True)
        sys.exit(2)


if __name__ == "__main__":
    main()
