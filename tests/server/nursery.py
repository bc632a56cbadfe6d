"""Services that start at once: one process has loaded everything, and forks a child for each service asked for.

Loading takes most of a service's start, and tests start some two hundred. The process that loads does nothing else: it
has one thread, opens no file and draws no random number, so that a child is as good as one that loaded by itself.
Asked by lines of JSON: a list of arguments, a file for what is said and changes of the environment are answered by the
child's number; a number by its exit code, null as long as it runs. Only small things are imported at the top: the
service's own workers load this file, too.
"""

from __future__ import annotations

import atexit
import gc
import json
import os
import signal
import subprocess
import sys
import threading
import time
from importlib import import_module
from pathlib import Path
from typing import Any

LOADED = (
    "anyio._backends._asyncio",
    "service.web.serving",
    "tests.server.conftest",
    "tests.server.fake_reader",
    "uvicorn.lifespan.on",
    "uvicorn.loops.auto",
)
ROOT = Path(__file__).resolve().parents[2]


class Child:
    """A service's process, with what tests ask of one."""

    def __init__(self, nursery: Nursery, pid: int):
        self._nursery, self.pid = nursery, pid
        self.returncode: int | None = None

    def poll(self) -> int | None:
        """Its exit code, negative where a signal ended it; None as long as it runs."""
        if self.returncode is None:
            self.returncode = self._nursery.ask(self.pid)
        return self.returncode

    def wait(self, timeout: float | None = None) -> int:
        """Its exit code.

        Raises
        ------
        subprocess.TimeoutExpired
            If it still runs after ``timeout`` s.
        """
        until = time.monotonic() + (timeout or 1e9)
        while (code := self.poll()) is None:
            if time.monotonic() > until:
                raise subprocess.TimeoutExpired("the service", timeout or 0)
            time.sleep(0.02)
        return code

    def send_signal(self, number: int) -> None:
        """Send it, as long as there is somebody to get it."""
        if self.poll() is None:
            os.kill(self.pid, number)

    def kill(self) -> None:
        """SIGKILL."""
        self.send_signal(signal.SIGKILL)


class Nursery:
    """The process that forks, started when the first service is asked for; it ends with the tests, its children too."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._process: subprocess.Popen[str] | None = None

    def ask(self, question: Any) -> Any:
        with self._lock:
            if self._process is None:
                self._process = subprocess.Popen(
                    [sys.executable, "-m", "tests.server.nursery"],
                    cwd=ROOT,
                    stdin=subprocess.PIPE,
                    stdout=subprocess.PIPE,
                    text=True,
                    start_new_session=True,  # ended with the tests, it would not end its children
                    env=os.environ | {"PYTHONUNBUFFERED": "1"},
                )
                atexit.register(self._process.stdin.close)
            self._process.stdin.write(json.dumps(question) + "\n")
            self._process.stdin.flush()
            return json.loads(self._process.stdout.readline())

    def start(self, arguments: list[str], said: Path) -> Child:
        """A service, as ``python -m tests.server.running`` would start it; what it says goes to the file."""
        return Child(self, self.ask({"arguments": arguments, "said": str(said), "environment": dict(os.environ)}))


NURSERY = Nursery()


def main() -> None:
    for name in LOADED:
        import_module(name)
    from tests.server import running

    _warm()
    children: dict[int, int | None] = {}
    for line in sys.stdin:
        question = json.loads(line)
        if isinstance(question, dict):
            pid = os.fork()
            if pid == 0:
                _become(**question)
                running.main()
                return
            children[pid] = None
            answer: int | None = pid
        else:
            _reap(children)
            answer = children[question]
        print(json.dumps(answer), flush=True)
    _reap(children)
    for pid in [pid for pid, code in children.items() if code is None]:
        os.kill(pid, signal.SIGKILL)


def _warm() -> None:
    """What a service works out once from the package's own files and keeps: each child would, for half a second."""
    from service.log.aside.stages import first_stage, shipped_stages
    from service.web.routes.procedures import list_procedures

    list_procedures()
    first_stage(), shipped_stages()
    gc.collect()
    gc.freeze()  # a child's collector would write to, and so copy, all that is shared


def _reap(children: dict[int, int | None]) -> None:
    for pid in [pid for pid, code in children.items() if code is None]:
        gone, status = os.waitpid(pid, os.WNOHANG)
        if gone:
            children[pid] = os.waitstatus_to_exitcode(status)


def _become(arguments: list[str], said: str, environment: dict[str, str]) -> None:
    """What a process of its own would have: a session, its files, its environment and arguments."""
    os.setsid()
    with open(said, "w") as out, open(os.devnull) as nothing:
        os.dup2(nothing.fileno(), 0)
        os.dup2(out.fileno(), 1)
        os.dup2(out.fileno(), 2)
    os.environ.clear()
    os.environ.update(environment)
    sys.argv = ["tests.server.running", *arguments]


if __name__ == "__main__":
    main()
