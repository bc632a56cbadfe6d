"""Where the pictures of readings go: one PNG for one photo, a folder for several."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from service.terminal.photo_batch import check_photos
from service.terminal.targets import FORMS, check_target, made_folder
from stripread.errors import CallError
from stripread.words import _


def overlay_paths(photos: tuple[Path, ...], overlay: Path | None, more: Sequence[Path] = ()) -> list[Path | None]:
    """Where the picture of each photo goes; two photos of one name get different files.

    The photos are looked for first, ``more`` that the command reads among them, so that a folder is made only for
    photos that are there; every place is tried, and no photo is ever written over.

    Raises
    ------
    CallError
        If a photo is missing, one file is named for several photos, or a picture can't be written.
    """
    check_photos((*photos, *more))
    if overlay is None:
        return [None] * len(photos)
    one_file = overlay.suffix.lower() == ".png"
    if one_file and len(photos) > 1:
        raise CallError(_("--overlay names one PNG, but there are several photos: name a folder"))
    if one_file or (overlay.suffix.lower() in FORMS and not overlay.is_dir()):
        check_target(overlay, "--overlay", (*photos, *more), ".png")
        return [overlay]
    made_folder(overlay, "--overlay")
    paths: dict[Path, None] = {}
    for photo in photos:
        names = (f"{photo.stem}{'' if count == 1 else f'-{count}'}.png" for count in range(1, len(photos) + 1))
        place = next(place for name in names if (place := overlay / name) not in paths)
        check_target(place, "--overlay", (*photos, *more))
        paths[place] = None
    return list(paths)
