"""The systemd unit and the compose file of docs/run: valid, and the command lines in them run, are ready, and stop."""

import configparser
import json
import os
import re
import shlex
import shutil
import signal
import subprocess
import sys
import time
from datetime import datetime
from pathlib import Path

import httpx2 as httpx
import pytest
import yaml

from tests.server.running import free_port

ROOT = Path(__file__).resolve().parents[2]
UNIT, COMPOSE = ROOT / "docs" / "run" / "stripread.service", ROOT / "docs" / "run" / "compose.yaml"


def _unit():
    parser = configparser.ConfigParser(interpolation=None, strict=True)
    parser.optionxform = str
    parser.read_string(UNIT.read_text(encoding="utf-8"))
    return parser


def _compose():
    return yaml.safe_load(COMPOSE.read_text(encoding="utf-8"))["services"]["bench"]


def _run(words: list[str], folder: Path) -> tuple[list[dict], str]:
    """A command line as written, but for its program, folder and port; its log's lines, and what readyz said."""
    port = free_port()
    words = words[words.index("serve") :]
    words[words.index("--data") + 1] = str(folder / "log")
    if "--port" in words:
        del words[words.index("--port") : words.index("--port") + 2]
    call = [sys.executable, "-m", "service.cli", *words, "--port", str(port), "--workers", "1"]
    environment = {**os.environ, "STRIPREAD_METRICS_TOKEN": "t"}
    with subprocess.Popen(
        call, cwd=ROOT, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
    ) as process:
        try:
            until = time.monotonic() + 60
            while True:
                try:
                    said = httpx.get(f"http://127.0.0.1:{port}/readyz", timeout=5).json()["status"]
                    break
                except httpx.TransportError:
                    assert process.poll() is None, process.stderr.read()
                    assert time.monotonic() < until
                    time.sleep(0.1)
            assert httpx.get(f"http://127.0.0.1:{port}/metrics", timeout=5).status_code == 200
        finally:
            process.send_signal(signal.SIGTERM)
        lines = process.stderr.read().decode().splitlines()
    assert process.returncode == 0
    return [json.loads(line) for line in lines], said


def test_the_unit_is_valid(tmp_path):
    service = _unit()["Service"]
    assert service["KillMode"] == "mixed"  # the signal must not reach the readers themselves
    # docs/threat-model.md: a stop ends within 25 s; systemd must not kill before
    assert int(service["TimeoutStopSec"]) > 25
    if shutil.which("systemd-analyze"):
        unit = tmp_path / UNIT.name  # verify wants a program that is there
        program = "/opt/stripread/bin/stripread"
        unit.write_text(UNIT.read_text(encoding="utf-8").replace(program, sys.executable), encoding="utf-8")
        call = ["systemd-analyze", "verify", "--man=no", str(unit)]
        done = subprocess.run(call, capture_output=True, text=True, check=False, timeout=60)
        assert [line for line in done.stderr.splitlines() if unit.name in line] == [], done.stderr


def test_the_compose_file_is_valid():
    bench = _compose()
    assert set(yaml.safe_load(COMPOSE.read_text(encoding="utf-8"))) == {"services", "volumes"}
    assert bench["command"][bench["command"].index("--data") + 1].startswith(bench["volumes"][0].split(":")[1])
    assert bench["ports"][0].endswith(":" + bench["command"][bench["command"].index("--port") + 1])
    assert "/readyz" in bench["healthcheck"]["test"][-1]
    assert re.fullmatch(r"\d+s", bench["stop_grace_period"])
    assert int(bench["stop_grace_period"][:-1]) > 25
    source = (ROOT / bench["build"]["context"].replace("../..", ".")).resolve()
    assert (source / "pyproject.toml").is_file()
    compile(bench["healthcheck"]["test"][-1], "healthcheck", "exec")


@pytest.mark.slow
@pytest.mark.parametrize(
    "words", [shlex.split(_unit()["Service"]["ExecStart"]), _compose()["command"]], ids=["unit", "compose"]
)
def test_the_command_line_runs_and_logs_json_lines(words, tmp_path):
    lines, said = _run(list(words), tmp_path)
    assert said == "ok"
    asked = [line for line in lines if line["logger"] == "stripread.requests"]
    assert {line["route"] for line in asked} == {"/readyz", "/metrics"}
    assert {line["status"] for line in asked} == {200}
    for line in lines:
        datetime.fromisoformat(line["time"])
        assert line["level"] in {"INFO", "WARNING"}
