"""Launchers: read back as the systems that start them would, with paths that have blanks and worse in them.

The desktop entry is held against freedesktop.org's Desktop Entry Specification (version 1.4 and later): by a reader
written here from its sections "Possible value types" and "The Exec key", by the package pyxdg, and by
`desktop-file-validate` of desktop-file-utils where it is installed. The shell script is run by a real shell.
"""

import os
import shlex
import shutil
import stat
import subprocess
import sys
from configparser import RawConfigParser
from pathlib import Path

import pytest
from click.testing import CliRunner
from xdg.DesktopEntry import DesktopEntry

from service.commands.starting.install_launcher import command
from service.launcher.install import ICON, install, start_command
from service.launcher.script_file import cmd_file
from stripread.errors import CallError
from stripread.words import LANGUAGES

PATHS = ["plain", "with blanks", "100 %f $HOME", "quo\"te's", "back\\slash`x`", "a;b&c|d (e) #f ~g*?", "ümläut ñ"]


def entry_in(folder):
    parser = RawConfigParser(interpolation=None, delimiters=("=",), comment_prefixes=("#",), strict=True)
    parser.optionxform = str
    parser.read_string((folder / "stripread.desktop").read_text(encoding="utf-8"))
    return parser


def unescaped(value):
    """Section "Possible value types": \\s, \\n, \\t, \\r and \\\\."""
    out, rest = "", iter(value)
    for character in rest:
        out += {"s": " ", "n": "\n", "t": "\t", "r": "\r", "\\": "\\"}[next(rest)] if character == "\\" else character
    return out


def words_of(exec_value):
    """Section "The Exec key": quoting is undone, then field codes; a reserved character outside quotes is an error."""
    words, word, rest = [], None, iter(unescaped(exec_value))
    for character in rest:
        if character == " ":
            words += [] if word is None else [word]
            word = None
        elif character == '"':
            word = word or ""
            for inside in rest:
                if inside == '"':
                    break
                assert inside not in "`$", "has to be escaped"
                escaped = next(rest) if inside == "\\" else None
                assert escaped is None or escaped in '"`$\\'
                word += escaped or inside
            else:
                raise AssertionError("a quote is not closed")
        else:
            assert character not in "\t\n'\\><~|&;$*?#()`", f"{character} outside quotes"
            word = (word or "") + character
    words += [] if word is None else [word]
    assert all("%" not in w.replace("%%", "") for w in words), "a field code"
    return [w.replace("%%", "%") for w in words]


@pytest.mark.parametrize("name", PATHS)
def test_a_desktop_starts_just_this_command(tmp_path, name):
    data = tmp_path / name
    install("linux", tmp_path, data, lan=True)
    entry = entry_in(tmp_path)
    assert words_of(entry["Desktop Entry"]["Exec"]) == start_command(data, lan=True)
    assert words_of(entry["Desktop Action demo"]["Exec"]) == [*start_command(data / "demo"), "--demo"]


def test_a_desktop_entry_keeps_to_the_specification(tmp_path):
    install("linux", tmp_path, tmp_path / "with blanks", lan=True)
    path = tmp_path / "stripread.desktop"
    entry = entry_in(tmp_path)
    main = entry["Desktop Entry"]
    assert entry.sections()[0] == "Desktop Entry"
    assert (main["Type"], main["Terminal"], main["Name"]) == ("Application", "true", "stripread")
    assert main["Actions"] == "demo;"
    assert Path(main["Icon"]) == ICON
    assert ICON.is_file()
    assert all(entry["Desktop Action demo"][f"Name[{language}]"] for language in LANGUAGES if language != "en")
    read = DesktopEntry(str(path))
    read.validate()
    assert read.getExec().startswith(sys.executable)
    assert path.stat().st_mode & stat.S_IXUSR


def test_the_validator_of_desktops_has_nothing_to_say(tmp_path):
    if shutil.which("desktop-file-validate") is None:
        pytest.skip("desktop-file-validate is not installed")
    for name in PATHS:
        install("linux", tmp_path, tmp_path / name, lan=True)
        done = subprocess.run(
            ["desktop-file-validate", tmp_path / "stripread.desktop"], check=False, capture_output=True, text=True
        )
        assert (done.returncode, done.stdout) == (0, "")


@pytest.mark.parametrize("name", PATHS)
def test_a_shell_starts_just_this_command(tmp_path, name):
    data = tmp_path / name
    for written in install("darwin", tmp_path, data, lan=True):
        script = written.path.read_text(encoding="utf-8")
        assert script.startswith("#!/bin/sh\n")
        assert os.access(written.path, os.X_OK)
        shown = written.path.with_name("shown")
        python = shlex.quote(sys.executable)
        assert f"exec {python} " in script
        # printf in the program's place tells each word apart
        shown.write_text(script.replace(f"exec {python} ", f"exec printf '%s\\0' {python} "), encoding="utf-8")
        said = subprocess.run(["sh", shown], check=True, capture_output=True).stdout.decode().split("\0")[:-1]
        wanted = (
            [*start_command(data / "demo"), "--demo"] if "demo" in written.path.name else start_command(data, lan=True)
        )
        assert said == wanted


@pytest.mark.parametrize("name", ["plain", "with blanks", "100 %f", "a&b^c"])
def test_a_batch_file_has_each_word_in_quotes(name):
    """By the rules in its docstring (from memory): nothing here is a Windows to try it on."""
    words = ["C:\\Programs\\Python\\python.exe", "-m", "service.cli", f"D:\\{name}\\log"]
    text = cmd_file(words)
    assert text.endswith("\r\n")
    assert "\n" not in text.replace("\r\n", "")
    line = text.split("\r\n")[2].replace("%%", "%")
    assert line == " ".join(f'"{word}"' for word in words)
    assert text.split("\r\n")[2].count("%") % 2 == 0


@pytest.mark.parametrize("platform", ["linux", "darwin", "win32"])
def test_the_same_call_twice_changes_nothing(tmp_path, platform):
    first = install(platform, tmp_path, tmp_path / "log", lan=False)
    before = {w.path: (w.path.read_bytes(), w.path.stat().st_mtime_ns) for w in first}
    again = install(platform, tmp_path, tmp_path / "log", lan=False)
    assert all(w.changed for w in first)
    assert not any(w.changed for w in again)
    assert before == {w.path: (w.path.read_bytes(), w.path.stat().st_mtime_ns) for w in again}
    assert sorted(tmp_path.iterdir()) == sorted(before)  # nothing half-written stays, and no log is begun
    assert all(w.changed for w in install(platform, tmp_path, tmp_path / "other", lan=False))


def test_it_says_what_it_wrote_and_where(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "home"))
    monkeypatch.setattr("sys.platform", "linux")
    said = CliRunner().invoke(command, [], standalone_mode=False).output
    place = tmp_path / "home" / "applications" / "stripread.desktop"
    assert f"written: {place}" in said
    assert f"The log is kept in {tmp_path / 'home' / 'stripread'}." in said
    assert place.is_file()
    assert "was there already" in CliRunner().invoke(command, [], standalone_mode=False).output


def test_what_can_not_be_written_is_one_sentence(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(CallError, match="can't write to"):
        install("linux", tmp_path / "file", tmp_path, lan=False)
    with pytest.raises(CallError, match="line break"):
        install("darwin", tmp_path, tmp_path / "a\nb", lan=False)


def test_a_program_with_an_equal_sign_is_refused(tmp_path, monkeypatch):
    """The specification: "The name or path of the executable program may not contain the equal sign"."""
    monkeypatch.setattr("service.launcher.install.sys.executable", "/opt/a=b/python")
    with pytest.raises(CallError, match="has a ="):
        install("linux", tmp_path, tmp_path, lan=False)
