"""A menu entry for desktops that follow freedesktop.org's Desktop Entry Specification (version 1.4 and later).

Its sections "Basic format of the file", "Possible value types" and "The Exec key" say how a value and a command are
written: https://specifications.freedesktop.org/desktop-entry/latest/
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

NAME = "stripread.desktop"
_RESERVED = " \t\n\"'\\><~|&;$*?#()`"  # of the Exec key: an argument with one of these is quoted
_ESCAPED = '"`$\\'  # inside the quotes


def exec_line(words: Sequence[str]) -> str:
    """A command as the Exec key has it, before it is escaped as a value. ``%`` would begin a field code: doubled."""
    return " ".join(_quoted(word.replace("%", "%%")) for word in words)


def _quoted(word: str) -> str:
    if word and not any(character in _RESERVED for character in word):
        return word
    return '"' + "".join(f"\\{c}" if c in _ESCAPED else c for c in word) + '"'


def value(text: str) -> str:
    """A string as a value: its backslashes and what ends a line are escaped (section "Possible value types")."""
    escapes = {"\\": "\\\\", "\n": "\\n", "\t": "\\t", "\r": "\\r"}
    out = "".join(escapes.get(character, character) for character in text)
    return f"\\s{out[1:]}" if out.startswith(" ") else out


def desktop_entry(
    names: Mapping[str, str], comments: Mapping[str, str], command: Sequence[str], icon: Path, demo: Mapping[str, str]
) -> str:
    """The whole file.

    Parameters
    ----------
    names, comments, demo
        By language, "en" the one without a mark: the program's name, what it is for, the name of the demo's action.
    command
        The command that starts the service; the demo's is the same with ``--demo`` and a folder of its own.
    icon
        The picture's file.
    """
    folder = command[command.index("--data") + 1]
    words = [word for word in command if word != "--lan"]
    at = words.index(folder)
    for_demo = [*words[:at], str(Path(folder) / "demo"), *words[at + 1 :], "--demo"]
    lines = ["[Desktop Entry]", "Type=Application", "Version=1.4"]
    lines += _told("Name", names) + _told("Comment", comments)
    lines += [f"Exec={value(exec_line(command))}", f"Icon={value(str(icon))}", "Terminal=true", "StartupNotify=false"]
    lines += ["Categories=Science;Chemistry;", "Actions=demo;", "", "[Desktop Action demo]", *_told("Name", demo)]
    lines += [f"Exec={value(exec_line(for_demo))}"]
    return "\n".join(lines) + "\n"


def _told(key: str, words: Mapping[str, str]) -> list[str]:
    return [f"{key}={value(text)}" if name == "en" else f"{key}[{name}]={value(text)}" for name, text in words.items()]
