"""The service in a process of its own, so that tests can kill it, starve it or load it."""

import argparse
import os
import signal
import socket
import subprocess
import time
from dataclasses import fields, replace
from http.client import HTTPConnection, HTTPException
from pathlib import Path

from tests.server.nursery import NURSERY, Child


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Running:
    """``with Running(folder) as server``: serves on ``server.url`` with the made-up reader."""

    def __init__(self, folder: Path, *, port: int | None = None, **options):
        self.folder = folder
        self.port = port or free_port()
        self.url = f"http://127.0.0.1:{self.port}"
        self._options = options
        self.process: Child | None = None

    def start(self) -> "Running":
        options = [f"--{k.replace('_', '-')}={v}" for k, v in self._options.items()]
        self.said = self.folder / "said.txt"  # what the terminal would show
        self.process = NURSERY.start([str(self.folder), str(self.port), *options], self.said)
        deadline = time.monotonic() + 30
        while time.monotonic() < deadline:
            if self.process.poll() is not None:
                raise RuntimeError(self.said.read_text())
            if self._answers():
                return self
            time.sleep(0.05)
        raise RuntimeError("the service did not start")

    def _answers(self) -> bool:
        """Whether it is well; asked without a client of its own, which would take longer to make than the answer."""
        asking = HTTPConnection("127.0.0.1", self.port, timeout=2)
        try:
            asking.request("GET", "/healthz")
            return asking.getresponse().status == 200
        except (OSError, HTTPException):
            return False
        finally:
            asking.close()

    def kill(self) -> None:
        """SIGKILL: no chance to finish anything."""
        self.process.kill()
        self.process.wait()

    def stop(self) -> None:
        self.process.send_signal(signal.SIGINT)
        try:
            self.process.wait(timeout=15)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()

    def __enter__(self) -> "Running":
        return self.start()

    def __exit__(self, *_) -> None:
        if self.process.poll() is None:
            self.stop()


def main() -> None:
    from service.web.connection import Bounds
    from service.web.serving import serve
    from tests.server.conftest import settings_in

    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("port", type=int)
    parser.add_argument("--data", type=Path)
    parser.add_argument("--profile", help="read with the real pipeline; several are joined as in PATH")
    parser.add_argument("--bare", type=int, default=0, help="1: the real pipeline, and no profile yet")
    parser.add_argument("--more-profiles", type=Path, nargs="*", default=[], help="further kinds of strip")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--body-idle", type=float, default=15.0)
    parser.add_argument("--body-total", type=float, default=180.0)
    for bound in fields(Bounds):
        parser.add_argument(f"--{bound.name.replace('_', '-')}", type=type(bound.default), default=bound.default)
    parser.add_argument("--database", help="URL of a database; SQLite in the data folder without it")
    parser.add_argument("--photos", help="URL of a store of photos")
    parser.add_argument("--watch", type=Path)
    parser.add_argument("--lan", type=int, default=0)
    parser.add_argument("--https-port", type=int)
    parser.add_argument("--max-body", type=int, default=64 * 1024 * 1024)
    parser.add_argument("--posts-per-minute", type=int, default=100_000)
    said = parser.parse_args()
    more = {"data": said.data} if said.data else {}
    if said.database:
        more["database"] = said.database
    if said.photos:
        more["photos"] = said.photos
    if said.profile:
        more |= {"reader": None, "profiles": tuple(map(Path, said.profile.split(os.pathsep)))}
    if said.bare:
        more |= {"reader": None, "profiles": (), "reading_timeout": 120.0}
    settings = settings_in(
        said.folder,
        port=said.port,
        workers=said.workers,
        body_idle=said.body_idle,
        body_total=said.body_total,
        connection=Bounds(**{bound.name: getattr(said, bound.name) for bound in fields(Bounds)}),
        posts_per_minute=said.posts_per_minute,
        lan=bool(said.lan),
        https_port=said.https_port,
        max_body=said.max_body,
        host="0.0.0.0" if said.lan else "127.0.0.1",
        watch=said.watch,
        watch_every=0.2,
        **more,
    )
    serve(replace(settings, profiles=(*settings.profiles, *said.more_profiles)))


if __name__ == "__main__":
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    main()
