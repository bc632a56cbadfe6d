"""Where the pictures of readings go: one PNG for one photo, a folder for several."""

from __future__ import annotations

from pathlib import Path

from stripread.errors import CallError


def overlay_paths(photos: tuple[Path, ...], overlay: Path | None) -> list[Path | None]:
    """Where the picture of each photo goes; two photos of one name get different files.

    Raises
    ------
    CallError
        If one file is named for several photos, or the folder can't be made.
    """
    if overlay is None:
        return [None] * len(photos)
    one_file = overlay.suffix.lower() == ".png"
    if one_file and len(photos) > 1:
        raise CallError("--overlay names one PNG, but there are several photos: name a folder")
    if one_file:
        return [overlay]
    try:
        overlay.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise CallError(f"can't make the folder {overlay}: {problem.strerror}") from None
    seen: dict[str, int] = {}
    paths: list[Path | None] = []
    for photo in photos:
        count = seen[photo.stem] = seen.get(photo.stem, 0) + 1
        paths.append(overlay / (f"{photo.stem}.png" if count == 1 else f"{photo.stem}-{count}.png"))
    return paths
