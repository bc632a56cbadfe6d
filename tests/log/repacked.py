"""A back-up taken apart and put together again, changed, with every hash made anew: what a hostile hand would do."""

from __future__ import annotations

import hashlib
import json
import sqlite3
import tarfile
from contextlib import closing
from dataclasses import dataclass, field
from datetime import datetime
from io import BytesIO
from pathlib import Path
from typing import Any

from service.log.archive import tape


@dataclass
class Apart:
    """A back-up as its parts. ``heads``: headers that are put in the place of those that would be right."""

    manifest: dict[str, Any]
    files: dict[str, bytes]
    heads: dict[str, bytes] = field(default_factory=dict)
    extra: list[tuple[bytes, bytes]] = field(default_factory=list)  # members that the manifest does not name

    def put(self, name: str, content: bytes) -> None:
        """A file with this content, and the manifest knows it."""
        self.files[name] = content
        members = [m for m in self.manifest["members"] if m["name"] != name]
        at = next((i for i, m in enumerate(self.manifest["members"]) if m["name"] == name), len(members))
        said = {"name": name, "size": len(content), "sha256": hashlib.sha256(content).hexdigest()}
        self.manifest["members"] = [*members[:at], said, *members[at:]]

    def drop(self, name: str) -> None:
        """Without this file, and the manifest does not know of it either."""
        del self.files[name]
        self.manifest["members"] = [m for m in self.manifest["members"] if m["name"] != name]

    def rename(self, old: str, new: str) -> None:
        """The same file under another name, in the manifest, too."""
        self.files[new] = self.files.pop(old)
        for member in self.manifest["members"]:
            if member["name"] == old:
                member["name"] = new

    def in_database(self, folder: Path, *statements: str) -> None:
        """Statements done in the database; the manifest has its new hash."""
        place = folder / "changed.sqlite3"
        place.write_bytes(self.files["log.sqlite3"])
        with closing(sqlite3.connect(place, isolation_level=None)) as c:
            for statement in statements:
                c.execute(statement)
        self.put("log.sqlite3", place.read_bytes())
        place.unlink()

    def together(self) -> bytes:
        """The file: well formed, unless something was put in."""
        said = (json.dumps(self.manifest) + "\n").encode()
        at = min(tape.MOST, int(datetime.fromisoformat(self.manifest["made_at"]).timestamp()))
        sums = f"{hashlib.sha256(said).hexdigest()}  manifest.json\n"
        sums += "".join(f"{m['sha256']}  {m['name']}\n" for m in self.manifest["members"])
        named = [(m["name"], self.files[m["name"]]) for m in self.manifest["members"]]
        out = b""
        for name, content in [("manifest.json", said), *named, ("SHA256SUMS", sums.encode())]:
            if name == "SHA256SUMS":
                out += b"".join(head + more + tape.padding(len(more)) for head, more in self.extra)
            out += self.heads.get(name) or tape.header(name, len(content), at)
            out += content + tape.padding(len(content))
        return out + tape.end(len(out))


def apart(file: Path) -> Apart:
    """Take a back-up apart."""
    with tarfile.open(file, "r:") as tar:
        files = {info.name: tar.extractfile(info).read() for info in tar}
    manifest = json.loads(files.pop("manifest.json"))
    del files["SHA256SUMS"]
    return Apart(manifest, files)


def photo_in(parts: Apart) -> str:
    """The name of some photo's member."""
    return next(name for name in parts.files if name.startswith("photos/"))


def head_of(name: str, kind: bytes, size: int = 0, link: str = "") -> bytes:
    """A header as another program writes it: of a link, a device, a folder, …"""
    info = tarfile.TarInfo(name)
    info.type, info.size, info.linkname = kind, size, link
    return info.tobuf(tarfile.PAX_FORMAT)


def other_tar(contents: dict[str, bytes]) -> bytes:
    """A tar that another program made."""
    out = BytesIO()
    with tarfile.open(fileobj=out, mode="w") as tar:
        for name, content in contents.items():
            info = tarfile.TarInfo(name)
            info.size = len(content)
            tar.addfile(info, BytesIO(content))
    return out.getvalue()
