"""The folder of strip kinds: one TOML file a kind, written whole or not at all, found by the kind's name."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

from service.errors import Conflict, NotFound
from service.log.blobs import sync_folder
from service.written_whole import written_whole
from stripread.errors import CallError
from stripread.kind import StripKind, kind_from_dict, kind_text
from stripread.user_file import toml_table, user_text
from stripread.words import _

MOST_KINDS = 200  # a workshop has a handful; a runaway client must not fill the disk


class StripKinds:
    """Strip kinds by their names.

    Parameters
    ----------
    root
        Folder of the files; made when the first kind is saved.
    """

    def __init__(self, root: Path) -> None:
        self._root = root

    def all(self) -> list[StripKind]:
        """All kinds by name. A file that somebody broke is left out, and left alone."""
        found = []
        for path in sorted(self._root.glob("*.toml")) if self._root.is_dir() else ():
            kind = _read(path)
            if kind is not None:
                found.append(kind)
        return sorted(found, key=lambda kind: kind.name.casefold())

    def named(self, name: str) -> StripKind:
        """The kind of this name.

        Raises
        ------
        NotFound
            If there is none, or its file can't be read any more.
        """
        kind = _read(self.path(name))
        if kind is None or kind.name != name:
            known = ", ".join(one.name for one in self.all()) or _("none")
            raise NotFound(
                "no_such_kind", _("There is no strip kind '{name}' here. There are: {known}.", name=name, known=known)
            )
        return kind

    def path(self, name: str) -> Path:
        """Where the kind of this name lies, if it is there: its letters to read, and a hash that no two names share."""
        letters = re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-")[:40] or "strip"
        return self._root / f"{letters}-{hashlib.sha256(name.encode()).hexdigest()[:12]}.toml"

    def save(self, kind: StripKind, *, replace: bool = False) -> StripKind:
        """Keep a kind; one that is there just so stays as it is.

        Raises
        ------
        Conflict
            ``kind_exists`` where another of this name is there and may not be replaced, ``too_many_kinds``.
        OSError
            When the disk does not take it; what was there is left then.
        """
        place = self.path(kind.name)
        there = _read(place)
        if there == kind:
            return kind
        if there is not None and not replace:
            raise Conflict(
                "kind_exists",
                _("There is another strip kind '{name}'. Choose another name, or replace it.", name=kind.name),
            )
        if there is None and len(self.all()) >= MOST_KINDS:
            raise Conflict("too_many_kinds", _("There are {count} strip kinds here already.", count=MOST_KINDS))
        self._root.mkdir(parents=True, exist_ok=True)
        written_whole(place, kind_text(kind).encode())
        sync_folder(self._root)
        return kind


def _read(path: Path) -> StripKind | None:
    try:
        return kind_from_dict(toml_table(user_text(path, path.name), path.name, _("a TOML file")), path.name)
    except CallError:
        return None
