"""The files of a log: photos that are missing, changed or links, and files that belong to no photo."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from pathlib import Path

from service.log.blobs import hash_of, is_hash
from stripread.words import _


@dataclass
class FolderCheck:
    """``faults`` break the log's promise; ``orphans`` are whole photos without an entry; ``strays`` are no photos."""

    faults: list[str] = field(default_factory=list)
    orphans: list[str] = field(default_factory=list)
    unfinished: list[str] = field(default_factory=list)
    strays: list[str] = field(default_factory=list)


def check_some(root: Path, known: Iterable[tuple[str, int]], found: FolderCheck) -> None:
    """Hold these photos, by hash with their sizes, against their files, and put what is wrong into ``found``."""
    for sha256, size in known:
        wrong = _wrong(root, sha256, size)
        if wrong:
            found.faults.append(f"photo {sha256} {wrong}")


def look_for_others(root: Path, known: Collection[str], found: FolderCheck, within: str = "") -> None:
    """Put into ``found`` the files that belong to none of these photos; ``within`` a folder of it, or in all."""
    expected = {Path(sha256[:2]) / sha256 for sha256 in known}
    if within and (root / within).is_symlink():
        return  # none of its files are the log's: the link itself is beside the folders
    for path in sorted(_files(root / within)):
        place = path.relative_to(root)
        if place not in expected:
            _sort_out(path, place, found)


def look_beside(root: Path, folders: Collection[str], found: FolderCheck) -> None:
    """Put into ``found`` what lies in the folder of photos, but in none of these folders of it."""
    for path in sorted(root.iterdir()) if root.is_dir() else ():
        if path.is_symlink() or not path.is_dir():
            _sort_out(path, path.relative_to(root), found)
        elif path.name not in folders:
            look_for_others(root, (), found, path.name)


def _sort_out(path: Path, place: Path, found: FolderCheck) -> None:
    if place.parts[0] == "incoming" and len(place.parts) == 2:
        found.unfinished.append(place.name)
    elif _is_photo(path, place):
        found.orphans.append(place.name)
    else:
        found.strays.append(str(place))


def check_profile_files(root: Path) -> list[str]:
    """Files of kept profiles whose name is not the hash of what is in them."""
    return [
        _("profile file {name} is not what it was: remove it, the log keeps a copy", name=path.name)
        for path in sorted(root.glob("*.toml") if root.is_dir() else ())
        if path.is_symlink() or not path.is_file() or hash_of(path) != path.stem
    ]


def _wrong(root: Path, sha256: str, size: int) -> str | None:
    if not is_hash(sha256):
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
