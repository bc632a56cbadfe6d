"""The port before it is opened: free, taken by this very service, or by another program."""

from __future__ import annotations

import json
import socket
import sys
import urllib.request

from service.folder_lock import in_use
from service.settings import Settings
from stripread.errors import CallError
from stripread.words import _

_PATIENCE = 3.0  # seconds; a service that reads photos still answers by then
_MOST = 4096  # bytes of an answer


def runs_already(settings: Settings) -> bool:
    """Whether the port is held by a service on the same folder: then its page is all that is wanted.

    Raises
    ------
    CallError
        Where it is held by anything else, or can't be opened; said before the workers start, and in one line.
    """
    ports = [settings.port] if settings.https_port is None else [settings.port, settings.https_port]
    for port in ports:
        problem = _bound(settings.host, port)
        if problem is None:
            continue
        if port == settings.port and _is_stripread(port):
            if in_use(settings.data):
                return True
            raise CallError(
                _(
                    "another stripread, with another folder than {data}, uses port {port}: stop it, or give --port",
                    data=settings.data,
                    port=port,
                )
            )
        option = "--port" if port == settings.port else "--https-port"
        raise CallError(
            _(
                "can't listen on {host} port {port}: {strerror}; stop the program that uses it, or give {option}",
                host=settings.host,
                port=port,
                strerror=problem.strerror,
                option=option,
            )
        )
    return False


def _bound(host: str, port: int) -> OSError | None:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        if sys.platform != "win32":  # there it means to take a port from whoever has it (from memory)
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as problem:
            return problem
    return None


def _is_stripread(port: int) -> bool:
    """Whether this program answers there, asked without any proxy."""
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    try:
        with opener.open(f"http://127.0.0.1:{port}/healthz", timeout=_PATIENCE) as answer:
            said = json.loads(answer.read(_MOST))
    except (OSError, ValueError):
        return False
    return isinstance(said, dict) and str(said.get("software", "")).startswith("stripread ")
