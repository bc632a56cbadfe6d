"""The made-up workshop beside the user's log: a service of its own, with its own folder, port and process.

Nothing of it can come into the log, and nothing of the log into it: they share no file, and the page's store in the
browser goes by port. It ends with this service, whichever way this one ends.
"""

from __future__ import annotations

import socket
import subprocess
import sys
import threading
from dataclasses import dataclass
from typing import Literal

from service.settings import Settings

FOLDER = "demo"  # in the data folder; no back-up has it
_PORTS = range(10, 30)  # above the service's own


@dataclass(frozen=True)
class DemoState:
    """``starting`` while its photos are read, which takes a moment the first time; ``url`` from then on."""

    state: Literal["off", "starting", "ready", "failed"]
    url: str | None = None


class DemoBeside:
    """The process; at most one."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        self._port = 0

    def start(self) -> DemoState:
        """Start it, unless it runs."""
        with self._lock:
            if self._process is None or self._process.poll() is not None:
                port = _free_port(self._settings.port)
                if port is None:
                    return DemoState("failed")
                self._port = port
                words = ["--demo", "--port", str(port), "--data", str(self._settings.data / FOLDER)]
                command = [sys.executable, "-m", "service.cli", "serve", *words, "--no-browser", "--workers", "1"]
                # It ends when its input ends: the system sees to that even where this process is killed.
                self._process = subprocess.Popen(
                    [*command, "--until-input-ends"],
                    stdin=subprocess.PIPE,
                    stdout=subprocess.DEVNULL,
                    stderr=subprocess.DEVNULL,
                )
        return self.state()

    def state(self) -> DemoState:
        """Whether it can be looked at."""
        process = self._process
        if process is None:
            return DemoState("off")
        if process.poll() is not None:
            return DemoState("failed")
        with socket.socket() as probe:
            probe.settimeout(1.0)
            if probe.connect_ex(("127.0.0.1", self._port)) != 0:
                return DemoState("starting")
        return DemoState("ready", f"http://localhost:{self._port}/")

    def stop(self) -> None:
        """End it, and don't wait for long."""
        with self._lock:
            process, self._process = self._process, None
        if process is None:
            return
        process.terminate()
        try:
            process.wait(5)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        if process.stdin is not None:
            process.stdin.close()


def _free_port(above: int) -> int | None:
    for port in (above + step for step in _PORTS):
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind(("127.0.0.1", port))
            except (OSError, OverflowError):
                continue
            return port
    return None
