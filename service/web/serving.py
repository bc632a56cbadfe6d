"""Running the service with its server, and what the terminal shows meanwhile."""

from __future__ import annotations

import errno
import socket
from pathlib import Path

import click
import uvicorn
from alembic.util import CommandError
from sqlalchemy.exc import ArgumentError, SQLAlchemyError

from service.readers.memory import keep_memory
from service.settings import Settings
from service.web.app import create_app
from service.web.components import Service
from service.web.connection import MAX_HEAD, bounded
from service.web.stopping import StoppingServer
from stripread.errors import CallError
from stripread.words import _
from stripread.words.dates import moment


def serve(settings: Settings, cert: Path | None = None, key: Path | None = None) -> None:
    """Serve until stopped.

    Raises
    ------
    CallError
        When the data folder or the database can't be opened, or the port is taken.
    """
    _check_port(settings)
    keep_memory()
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
    config = uvicorn.Config(
        app,
        host=settings.host,
        port=settings.port,
        http=bounded(settings.connection),
        ws="none",
        log_level="warning",
        access_log=False,
        proxy_headers=False,  # who is on this machine is decided by the real peer address
        server_header=False,
        limit_concurrency=200,
        timeout_keep_alive=20,
        timeout_graceful_shutdown=5,  # of answers that are not taken: the readings are answered by then
        h11_max_incomplete_event_size=MAX_HEAD,
        ssl_certfile=str(cert) if cert else None,
        ssl_keyfile=str(key) if key else None,
    )
    server = StoppingServer(config, service.settle)
    server.run()
    if not server.started:
        raise CallError(_("can't listen on {host} port {port}", host=settings.host, port=settings.port))


def _check_port(settings: Settings) -> None:
    """Say it before the workers start, and in one line."""
    family = socket.AF_INET6 if ":" in settings.host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((settings.host, settings.port))
        except OSError as problem:
            raise CallError(
                _(
                    "can't listen on {host} port {port}: {strerror}",
                    host=settings.host,
                    port=settings.port,
                    strerror=problem.strerror,
                )
            ) from None


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
    if not any(service.profiles.available()[k] for k in ("ph",)):
        click.echo(_("No pH profile: give --profile to read strips."))
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
            click.echo(_("Without --cert the network can listen in: use it only in a network that you trust."))
