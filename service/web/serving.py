"""Running the service with its server, and what the terminal shows meanwhile."""

from __future__ import annotations

import errno
import os
import signal
import sys
import threading
from dataclasses import dataclass
from pathlib import Path

import click
import uvicorn
from alembic.util import CommandError
from sqlalchemy.exc import ArgumentError, SQLAlchemyError
from uvicorn.config import LOGGING_CONFIG

from service.authority.names import lan_address
from service.readers.memory import keep_memory
from service.settings import Settings
from service.web.app import create_app
from service.web.components import Service
from service.web.connection import MAX_HEAD, bounded
from service.web.door.browser import open_page, somebody_sees
from service.web.door.names import https_root
from service.web.door.port import runs_already
from service.web.door.second_port import SecondPort, TwoPortServer
from service.web.watching.json_lines import log_json_lines
from stripread.errors import CallError
from stripread.words import _
from stripread.words.dates import moment


@dataclass(frozen=True)
class Start:
    """How a service is started, beside what it is.

    ``cert``, ``key``: of the user's own, instead of one that the service makes; ``browser``: open the page;
    ``until_input_ends``: stop when standard input does; ``log_json``: the program's log as JSON lines.
    """

    cert: Path | None = None
    key: Path | None = None
    browser: bool = False
    until_input_ends: bool = False
    log_json: bool = False


def serve(settings: Settings, start: Start = Start()) -> None:
    """Serve until stopped; where the service runs already, only its page is opened.

    Raises
    ------
    CallError
        When the data folder or the database can't be opened, or a port is taken.
    """
    here = f"{'https' if settings.tls else 'http'}://localhost:{settings.port}/"
    browser = start.browser and somebody_sees()
    if runs_already(settings):
        click.echo(_("stripread runs already at {here}  (log: {data})", here=here, data=settings.data))
        if browser:
            open_page(here, wait=True)
        return
    keep_memory()
    if start.log_json:
        log_json_lines()
    try:
        app = create_app(settings)
    except (OSError, SQLAlchemyError, ArgumentError, CommandError, ImportError) as problem:
        why = str(problem).splitlines()[0]
        sealed = isinstance(problem, OSError) and problem.errno in (errno.EROFS, errno.EACCES, errno.EPERM)
        todo = _("; the service writes there: copy the folder where it may") if sealed else ""
        raise CallError(
            _("can't open the log in {data}: {why}{todo}", data=settings.data, why=why, todo=todo)
        ) from None
    service: Service = app.state.service
    _say(settings, service)
    server = _server(settings, start, service, app)
    if browser:
        server.when_started = lambda: open_page(here)
    _stop_with_its_window(server)
    if start.until_input_ends:
        threading.Thread(target=_wait_for_end_of_input, daemon=True).start()
    server.run()
    if server.failed is not None:
        said = {"host": settings.host, "port": settings.https_port, "why": server.failed.strerror}
        raise CallError(_("can't listen on {host} port {port}: {why}", **said))
    if not server.started:
        raise CallError(_("can't listen on {host} port {port}", host=settings.host, port=settings.port))


def _server(settings: Settings, start: Start, service: Service, app: object) -> TwoPortServer:
    config = uvicorn.Config(
        app,  # type: ignore[arg-type]
        host=settings.host,
        port=settings.port,
        http=bounded(settings.connection),
        ws="none",
        log_level=None if start.log_json else "warning",
        log_config=None if start.log_json else LOGGING_CONFIG,
        access_log=False,
        proxy_headers=False,  # who is on this machine is decided by the real peer address
        server_header=False,
        limit_concurrency=200,
        timeout_keep_alive=20,
        timeout_graceful_shutdown=5,  # of answers that are not taken: the readings are answered by then
        h11_max_incomplete_event_size=MAX_HEAD,
        ssl_certfile=str(start.cert) if start.cert else None,
        ssl_keyfile=str(start.key) if start.key else None,
    )
    second = None
    if service.keeper is not None and settings.https_port is not None:
        second = SecondPort(settings.host, settings.https_port, service.keeper)
    return TwoPortServer(config, service.settle, second)


def _stop_with_its_window(server: TwoPortServer) -> None:
    """A terminal that is closed hangs up (POSIX, SIGHUP): the service then stops by plan, as by Ctrl-C."""
    if sys.platform != "win32" and threading.current_thread() is threading.main_thread():
        if signal.getsignal(signal.SIGHUP) is signal.SIG_DFL:  # under nohup it is ignored, and stays so
            signal.signal(signal.SIGHUP, server.handle_exit)


def _wait_for_end_of_input() -> None:
    while sys.stdin.buffer.read(4096):
        pass
    os.kill(os.getpid(), signal.SIGTERM)


def _say(settings: Settings, service: Service) -> None:
    scheme = "https" if settings.tls else "http"
    click.echo(
        _(
            "stripread serves at {scheme}://localhost:{port}/  (log: {data})",
            scheme=scheme,
            port=settings.port,
            data=settings.data,
        )
    )
    if settings.demo:
        click.echo(_("This is the made-up workshop: nothing here is in your own log."))
    if not any(service.profiles.available()[k] for k in ("ph",)):
        click.echo(_("No pH profile: give --profile, or calibrate a strip, to read strips."))
    if settings.lan:
        click.echo(_("Scan with the phone's camera to join it (the link changes at every start):"))
        click.echo(service.pairing.qr_text())
        click.echo(service.pairing.link())
        link = service.pairing.bounds()
        click.echo(
            _(
                "It lets in {joins_left} phones until {until}; for a new one press *Make a "
                "new link* on this computer's page, or start again.",
                joins_left=link.joins_left,
                until=moment(link.ends_at),
            )
        )
        if not settings.tls:
            _say_tls(settings, service)


def _say_tls(settings: Settings, service: Service) -> None:
    address = lan_address()
    secure = https_root(settings, address)
    if secure is None or service.keeper is None:
        click.echo(
            _(
                "The network can listen in: {address} is no address of a home network, for which alone the service "
                "makes a certificate. Give --cert and --key, or use it only in a network that you trust.",
                address=address,
            )
        )
        return
    click.echo(
        _("Encrypted: {secure}/ once a phone trusts this computer's certificate; the code leads there.", secure=secure)
    )
    click.echo(_("Its SHA-256 fingerprint, to compare with what the phone shows:"))
    click.echo(f"  {service.keeper.root.fingerprint()}")
    click.echo(_("Until then the network can listen in: use it only in a network that you trust."))
