"""Which files this system wants, where they go, and writing them: the same call twice changes nothing."""

from __future__ import annotations

import os
import secrets
import sys
from dataclasses import dataclass
from pathlib import Path

from platformdirs import user_data_path, user_desktop_path

from service.launcher.desktop_entry import NAME, desktop_entry
from service.launcher.script_file import cmd_file, command_file
from stripread.errors import CallError
from stripread.words import LANGUAGES, N_, _, say, speaking

ICON = Path(__file__).resolve().parents[1] / "page" / "icon.svg"
_COMMENT = N_("Reads pH strips and keeps the log of the bench")
_DEMO = N_("Look at the made-up workshop")


@dataclass(frozen=True)
class Written:
    """One file: where, what it is for, and whether it is new or was changed."""

    path: Path
    what: str
    changed: bool


def start_command(data: Path, *, lan: bool = False) -> list[str]:
    """The command that starts the service on a folder. -P: nothing that lies in the current folder is imported."""
    words = [sys.executable, "-P", "-m", "service.cli", "serve", "--data", str(data)]
    return [*words, "--lan"] if lan else words


def install(platform: str, folder: Path | None, data: Path, *, lan: bool) -> list[Written]:
    """Write the launcher for ``platform`` (as ``sys.platform`` names it).

    Raises
    ------
    CallError
        Where a file can't be written, or a path can't be written down for that system.
    """
    command = start_command(data, lan=lan)
    demo = [*start_command(data / "demo"), "--demo"]
    what, what_demo = _("starts the service, opens its page"), _("the same with the made-up workshop")
    if any(character in word for word in command for character in "\r\n"):
        raise CallError(_("a launcher can't hold a path with a line break: {data!r}", data=str(data)))
    if platform == "darwin":
        place = folder or user_desktop_path()
        files = [
            (place / "stripread.command", command_file(command), what),
            (place / "stripread demo.command", command_file(demo), what_demo),
        ]
    elif platform == "win32":
        place = folder or user_desktop_path()
        files = [
            (place / "stripread.cmd", cmd_file(command), what),
            (place / "stripread demo.cmd", cmd_file(demo), what_demo),
        ]
    else:
        if "=" in command[0]:  # the specification's own rule for the program's path
            raise CallError(_("a menu entry can't hold a program whose path has a =: {path}", path=command[0]))
        place = folder or user_data_path() / "applications"
        text = desktop_entry(dict.fromkeys(LANGUAGES, "stripread"), _in_all(_COMMENT), command, ICON, _in_all(_DEMO))
        files = [(place / NAME, text, _("starts the service, opens its page; its own menu has the made-up workshop"))]
    return [Written(path.absolute(), told, _write(path, text)) for path, text, told in files]


def _in_all(sentence: str) -> dict[str, str]:
    told = {}
    for language in LANGUAGES:
        with speaking(language):
            told[language] = say(sentence)
    return told


def _write(path: Path, text: str) -> bool:
    """Write it whole or not at all; whether anything changed. It may be run by who owns it."""
    content = text.encode()
    try:
        if path.is_file() and path.read_bytes() == content and os.access(path, os.X_OK):
            return False
        path.parent.mkdir(parents=True, exist_ok=True)
        beside = path.with_name(f".{path.name}.{secrets.token_hex(4)}")
        try:
            beside.write_bytes(content)
            beside.chmod(0o755)
            beside.replace(path)
        finally:
            beside.unlink(missing_ok=True)
    except OSError as problem:
        raise CallError(
            _("can't write to {folder}: {value}", folder=path.parent, value=problem.strerror or problem)
        ) from None
    return True
