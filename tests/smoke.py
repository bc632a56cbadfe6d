"""Does an install work at all: ``VENV/bin/python tests/smoke.py`` reads with the ``stripread`` installed in that venv.

One reading of each kind through the command, a card to print, a service with one photo posted to it, and its report as
PDF. Needs nothing but the install; run as a file, so that the sources beside it are not what is tested. Exit code 0 if
all went well, 1 with a line that says what did not.
"""

from __future__ import annotations

import json
import os
import platform
import socket
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from pathlib import Path

DEMO = Path(__file__).resolve().parents[1] / "service" / "demo"
PROFILE = DEMO / "profile.toml"
WASH = DEMO / "photos" / "05-wash-04.jpg"
PH, COPPER, PALE = 3.40, 60.0, 0.343  # true of these photos: service/demo/photos/truth.csv, windows/truth.csv; mg/L
# -P: what stands in the current folder is not imported (Python 3.11's documentation, "Command line and environment")
STRIPREAD = [sys.executable, "-P", "-c", "import sys; from service.cli import main; sys.exit(main())"]
COMMAND_S, START_S = 30.0, 30.0


class SmokeError(Exception):
    """What did not work, in a sentence."""


def command(away: Path, *words: str) -> str:
    """What a call prints; it must end with exit code 0."""
    done = subprocess.run(
        [*STRIPREAD, *words], check=False, capture_output=True, text=True, cwd=away, timeout=COMMAND_S, env=quiet()
    )
    if done.returncode != 0:
        shown = (done.stderr or done.stdout).strip()[-600:]
        raise SmokeError(f"stripread {words[0]} ended with {done.returncode}: {shown}")
    return done.stdout


def quiet() -> dict[str, str]:
    return {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}


def holds(interval: list[float], truth: float, what: str) -> None:
    if not interval[0] <= truth <= interval[1]:
        raise SmokeError(f"{what}: {interval} does not hold the truth, {truth}")


def readings(away: Path) -> None:
    """Each reading's interval must hold what is true of its photo."""
    wash = json.loads(command(away, "read", str(WASH), "--profile", str(PROFILE), "--json"))
    holds(wash["interval"], PH, "pH")
    tint = json.loads(command(away, "tint", str(DEMO / "windows/tint-1-first-wash.jpg"), "--path-mm", "20", "--json"))
    if tint["decision"] != "copper":
        raise SmokeError(f"tint: {tint['decision']}, not copper")
    holds(tint["interval"], COPPER, "copper, mg/L")
    solid = json.loads(command(away, "solid", str(DEMO / "windows/solid-1-early.jpg"), "--json"))
    holds(solid["pale_interval"], PALE, "pale share")
    command(away, "read", str(WASH), "--profile", str(PROFILE), "--overlay", "wash.png")
    starts_with(away / "wash.png", b"\x89PNG")
    command(away, "card", "--out", "card.pdf")
    starts_with(away / "card.pdf", b"%PDF-")


def starts_with(path: Path, magic: bytes) -> None:
    if not path.is_file() or not path.read_bytes().startswith(magic):
        raise SmokeError(f"{path.name} is no such file")


def free_port() -> int:
    with socket.socket() as place:
        place.bind(("127.0.0.1", 0))
        return int(place.getsockname()[1])


def answer(url: str, body: bytes | None = None, kind: str = "application/json") -> dict:
    request = urllib.request.Request(url, data=body, headers={"Content-Type": kind} if body else {})
    try:
        with urllib.request.urlopen(request, timeout=COMMAND_S) as reply:
            return json.load(reply)
    except urllib.error.HTTPError as error:
        raise SmokeError(f"{url}: {error.code} {error.read()[:300]!r}") from error


def service(away: Path) -> None:
    """Start it, start a batch, post a photo, stop it; then the report from its log."""
    port = free_port()
    words = ["serve", "--port", str(port), "--data", "bench", "--profile", str(PROFILE), "--workers", "1"]
    with (away / "serve.txt").open("w+") as said:
        running = subprocess.Popen([*STRIPREAD, *words], cwd=away, stdout=said, stderr=said, env=quiet())
        try:
            until_listening(running, port)
            root = f"http://127.0.0.1:{port}/api/batches"
            batch = answer(root, b'{"name": "smoke"}')["id"]
            fields = b'--edge\r\nContent-Disposition: form-data; name="wash"\r\n\r\n4\r\n'
            head = b'--edge\r\nContent-Disposition: form-data; name="photo"; filename="a.jpg"\r\n\r\n'
            body = fields + head + WASH.read_bytes() + b"\r\n--edge--\r\n"
            entry = answer(f"{root}/{batch}/readings", body, "multipart/form-data; boundary=edge")
            holds(entry["interval"], PH, "the service's pH")
        except SmokeError as failure:
            said.seek(0)
            raise SmokeError(f"{failure}\n{said.read()[-600:]}") from failure
        finally:
            running.terminate()
            try:
                running.wait(10)
            except subprocess.TimeoutExpired:
                running.kill()
    command(away, "batch", "report", str(batch), "--data", "bench", "--out", "report.pdf")
    starts_with(away / "report.pdf", b"%PDF-")


def until_listening(running: subprocess.Popen, port: int) -> None:
    end = time.monotonic() + START_S
    while time.monotonic() < end:
        if running.poll() is not None:
            raise SmokeError(f"the service ended at once with {running.returncode}")
        with socket.socket() as link:
            if link.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.1)
    raise SmokeError(f"the service did not listen within {START_S:g} s")


def main() -> int:
    start = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        try:
            readings(Path(folder))
            service(Path(folder))
        except (SmokeError, subprocess.TimeoutExpired, OSError, KeyError, ValueError) as failure:
            print(f"smoke, Python {platform.python_version()}: {failure!s}", file=sys.stderr)
            return 1
    print(f"smoke, Python {platform.python_version()}: all well in {time.monotonic() - start:.0f} s")
    return 0


if __name__ == "__main__":
    sys.exit(main())
