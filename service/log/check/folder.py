"""The files of a log: photos that are missing, changed or links, and files that belong to no photo."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from service.log.blobs import hash_of
from stripread.words import _


@dataclass
class FolderCheck:
    """``faults`` break the log's promise; ``orphans`` are whole photos without an entry; ``strays`` are no photos."""

    faults: list[str] = field(default_factory=list)
    orphans: list[str] = field(default_factory=list)
    unfinished: list[str] = field(default_factory=list)
    strays: list[str] = field(default_factory=list)


def check_photos(root: Path, known: dict[str, int]) -> FolderCheck:
    """Hold the folder of photos against those that the log knows, by hash with their sizes. Reads every photo."""
    found = FolderCheck()
    for sha256, size in sorted(known.items()):
        wrong = _wrong(root, sha256, size)
        if wrong:
            found.faults.append(f"photo {sha256} {wrong}")
    expected = {Path(sha256[:2]) / sha256 for sha256 in known}
    for path in sorted(_files(root)):
        place = path.relative_to(root)
        if place in expected:
            continue
        if place.parts[0] == "incoming" and len(place.parts) == 2:
            found.unfinished.append(place.name)
        elif _is_photo(path, place):
            found.orphans.append(place.name)
        else:
            found.strays.append(str(place))
    return found


def check_profile_files(root: Path) -> list[str]:
    """Files of kept profiles whose name is not the hash of what is in them."""
    return [
        _("profile file {name} is not what it was: remove it, the log keeps a copy", name=path.name)
        for path in sorted(root.glob("*.toml") if root.is_dir() else ())
        if path.is_symlink() or not path.is_file() or hash_of(path) != path.stem
    ]


def _wrong(root: Path, sha256: str, size: int) -> str | None:
    if len(sha256) != 64 or not set(sha256) <= set("0123456789abcdef"):
        return _("has a name that is no hash")
    path = root / sha256[:2] / sha256
    if path.is_symlink() or path.parent.is_symlink():
        return _("is a link to somewhere else, not a file of the log")
    if not path.exists():
        return _("is missing")
    if not path.is_file():
        return _("is no file")
    try:
        return _("is not what it was") if path.stat().st_size != size or hash_of(path) != sha256 else None
    except OSError as problem:
        return _("can't be read: {strerror}", strerror=problem.strerror)


def _files(root: Path) -> list[Path]:
    """All that is no folder; a link is not followed."""
    if not root.is_dir():
        return []
    return [path for path in root.rglob("*") if path.is_symlink() or not path.is_dir()]


def _is_photo(path: Path, place: Path) -> bool:
    """Whether a file lies where the photo of its own hash would."""
    if path.is_symlink() or not path.is_file() or len(place.name) != 64 or str(place.parent) != place.name[:2]:
        return False
    return hash_of(path) == place.name
