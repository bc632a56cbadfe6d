"""Scripts for a double click: `.command` for macOS, `.cmd` for Windows."""

from __future__ import annotations

import shlex
import subprocess
from collections.abc import Sequence


def command_file(command: Sequence[str]) -> str:
    """A shell script; quoted as POSIX's shell takes it (IEEE Std 1003.1, Shell Command Language, 2.2 Quoting)."""
    return f"#!/bin/sh\nexec {shlex.join(command)}\n"


def cmd_file(command: Sequence[str]) -> str:
    """A batch file: each word as the C runtime takes arguments apart, and as cmd.exe leaves them.

    cmd.exe itself expands ``%name%``, also inside quotes: a percent sign is doubled. Every word is quoted, since it
    takes ``&``, ``^`` and others apart outside quotes. A path there can't hold a quotation mark. The code page is set
    to UTF-8 for names that are not ASCII. (All from memory, and not tried on Windows.)
    """
    words = (subprocess.list2cmdline([word]) for word in command)
    line = " ".join(word if word.startswith('"') else f'"{word}"' for word in words).replace("%", "%%")
    return f"@echo off\r\nchcp 65001 >nul\r\n{line}\r\nif errorlevel 1 pause\r\n"
