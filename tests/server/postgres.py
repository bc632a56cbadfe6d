"""A PostgreSQL server of its own for the tests: initialised in a temporary folder, stopped at the end."""

import os
import pwd
import shutil
import socket
import subprocess
import tempfile
from contextlib import contextmanager
from pathlib import Path

import pytest


def _programs() -> Path | None:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/postgres"), key=lambda p: float(p.parts[-3]))
    if found:
        return found[-1].parent
    on_path = shutil.which("postgres")
    return Path(on_path).parent if on_path else None


@contextmanager
def a_server():
    """Its URL."""
    with a_server_to_restart() as (url, _restart):
        yield url


@contextmanager
def a_server_to_restart():
    """Its URL, and what starts it anew at once, as after a failure of the machine it is on."""
    programs = _programs()
    if programs is None:
        pytest.skip("PostgreSQL is not installed")
    user = None
    if os.getuid() == 0:  # the server refuses to run as root
        try:
            user = pwd.getpwnam("postgres").pw_name
        except KeyError:
            pytest.skip("there is no user postgres to run the server as")
    root = Path(tempfile.mkdtemp(prefix="stripread-pg-"))
    if user:
        shutil.chown(root, user)
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]

    def run(*args):
        done = subprocess.run([str(a) for a in args], user=user, cwd=root, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr + done.stdout

    run(programs / "initdb", "-D", root / "db", "-U", "log", "-A", "trust", "-E", "UTF8", "--locale=C")
    options = f"-p {port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={root}"
    run(programs / "pg_ctl", "-D", root / "db", "-l", root / "log", "-w", "-o", options, "start")
    try:
        run(programs / "createdb", "-h", "127.0.0.1", "-p", port, "-U", "log", "bench")

        def restart():
            run(programs / "pg_ctl", "-D", root / "db", "-m", "immediate", "-w", "stop")
            run(programs / "pg_ctl", "-D", root / "db", "-l", root / "log", "-w", "-o", options, "start")

        yield f"postgresql+psycopg://log@127.0.0.1:{port}/bench", restart
    finally:
        run(programs / "pg_ctl", "-D", root / "db", "-m", "immediate", "-w", "stop")
        shutil.rmtree(root, ignore_errors=True)
