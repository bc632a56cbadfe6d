"""Opening the page in the bench computer's browser: where somebody sits before a screen, never a reason to fail."""

from __future__ import annotations

import os
import sys
import threading
import webbrowser
from collections.abc import Mapping


def somebody_sees(environ: Mapping[str, str] = os.environ, platform: str = sys.platform, process: int = 0) -> bool:
    """Whether a browser that is opened here is seen: a display, no shell from afar, no test, not started by systemd."""
    if "PYTEST_CURRENT_TEST" in environ or "SSH_CONNECTION" in environ:
        return False
    # systemd.exec(5): the process id of what a unit starts itself; a terminal that a unit started hands it on, and is
    # told apart by it (from memory)
    if environ.get("SYSTEMD_EXEC_PID") == str(process or os.getpid()):
        return False
    if platform in ("darwin", "win32"):
        return True
    return bool(environ.get("DISPLAY") or environ.get("WAYLAND_DISPLAY"))


def open_page(url: str, *, wait: bool = False) -> None:
    """Open it, in a thread of its own: a browser may take its time to answer, or not be there. ``wait``: a little."""
    opening = threading.Thread(target=_open, args=(url,), daemon=True)
    opening.start()
    if wait:  # this process ends right after
        opening.join(10.0)


def _open(url: str) -> None:
    try:
        webbrowser.open(url)
    except Exception:  # whatever a desktop's own programs do: the address stands in the terminal
        return
