"""`stripread serve`: the bench service."""

from __future__ import annotations

from pathlib import Path

import click

from stripread.errors import CallError
from stripread.words import _

_HTTPS_ABOVE, _LAST = 443, 65535  # 8000 and 8443: the usual pair of ports (common practice, no source)
_LOOPBACK = {"127.0.0.1", "::1", "localhost"}


@click.command("serve")
@click.option("--host", help="Address to listen on (default: this machine only, or all with --lan).")
@click.option("--port", type=click.IntRange(1, 65535), default=8000, show_default=True, help="Port to listen on.")
@click.option(
    "--https-port", type=click.IntRange(1, 65535), help="With --lan, the port with TLS (default: --port + 443)."
)
@click.option(
    "--data",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder of the log (default: stripread-data, with --demo stripread-demo).",
)
@click.option("--database", help="SQLAlchemy URL of the log's database (default: SQLite in the data folder).")
@click.option(
    "--photos",
    metavar="URL",
    help="Store of the photos, s3://BUCKET/FOLDER; options in the environment (default: the data folder).",
)
@click.option(
    "--connections",
    type=click.IntRange(2, 500),
    default=16,
    show_default=True,
    help="Connections to a PostgreSQL at once.",
)
@click.option(
    "--profile",
    "profiles",
    multiple=True,
    type=click.Path(path_type=Path),
    help="pH profile for new readings (default: profile.toml, if it is here); again for each further kind of strip.",
)
@click.option("--standards", type=click.Path(path_type=Path), help="Tint profile, for copper in mg/L.")
@click.option("--lan", is_flag=True, help="Let phones of this network join, by a code shown here.")
@click.option("--name", "names", multiple=True, help="A further host name that phones may use.")
@click.option("--cert", type=click.Path(path_type=Path), help="TLS certificate (PEM), with --key.")
@click.option("--key", type=click.Path(path_type=Path), help="Private key of --cert (PEM).")
@click.option("--watch", type=click.Path(path_type=Path), help="Read photos that appear in this folder.")
@click.option("--demo", is_flag=True, help="Show the made-up workshop, in a folder of its own.")
@click.option("--no-browser", is_flag=True, help="Don't open the page in this computer's browser.")
@click.option("--until-input-ends", is_flag=True, help="Stop when standard input ends.")
@click.option("--cluster", metavar="URL", help="Let the workers of this Dask scheduler read: tcp://HOST:8786.")
@click.option("--log-json", is_flag=True, help="Log as JSON lines on standard error, requests too.")
@click.option("--workers", type=click.IntRange(1, 256), help="Photos read at once (default: one for each core).")
def command(  # noqa: PLR0917 - one parameter for each option
    host: str | None,
    port: int,
    https_port: int | None,
    data: Path | None,
    database: str | None,
    photos: str | None,
    connections: int,
    profiles: tuple[Path, ...],
    standards: Path | None,
    lan: bool,
    names: tuple[str, ...],
    cert: Path | None,
    key: Path | None,
    watch: Path | None,
    demo: bool,
    no_browser: bool,
    until_input_ends: bool,
    cluster: str | None,
    log_json: bool,
    workers: int | None,
) -> None:
    """Run the bench service: the phone's page, the readings and the log."""
    for path in (*profiles, standards, cert, key):
        if path is not None and not path.is_file():
            raise CallError(_("no such file: {path}", path=path))
    if watch is not None and not watch.is_dir():
        raise CallError(_("no such folder: {watch}", watch=watch))
    if (cert is None) != (key is None):
        raise CallError(_("give --cert and --key together"))
    if lan and host in _LOOPBACK:
        text = _(
            "--lan with --host {host}: this address is this machine's own, so no phone can join; leave --host out",
            host=host,
        )
        click.echo(f"stripread: {text}", err=True)
    if host is not None and host not in _LOOPBACK and not lan:
        raise CallError(_("--host {host} is open to the network: add --lan, which pairs phones", host=host))
    data = data or Path("stripread-demo" if demo else "stripread-data")
    if demo:
        profiles = _played(data, lan or bool(profiles) or watch is not None)
    elif not profiles and Path("profile.toml").is_file():
        profiles = (Path("profile.toml"),)

    import os

    from service.log.profiles import check_profile
    from service.settings import Settings
    from service.web.serving import Start, serve

    for path in profiles:
        check_profile(path)
    settings = Settings(
        data=data,
        database=database,
        photos=photos,
        connections=connections,
        profiles=profiles,
        tint_standards=standards,
        host=host or ("0.0.0.0" if lan else "127.0.0.1"),
        port=port,
        lan=lan,
        names=names,
        metrics_token=os.environ.get("STRIPREAD_METRICS_TOKEN") or None,
        tls=cert is not None,
        https_port=None if not lan or cert is not None else _https_port(port, https_port),
        cluster=cluster,
        demo=demo,
        demo_beside=not demo,
        workers=workers or os.cpu_count() or 1,
        watch=watch,
    )
    serve(settings, Start(cert, key, browser=not no_browser, until_input_ends=until_input_ends, log_json=log_json))


def _https_port(port: int, wanted: int | None) -> int:
    if wanted == port:
        raise CallError(_("--https-port must be another than --port"))
    return wanted or (port + _HTTPS_ABOVE if port + _HTTPS_ABOVE <= _LAST else port - _HTTPS_ABOVE)


def _played(data: Path, wants_more: bool) -> tuple[Path, ...]:
    """The made-up workshop's log, played where it is not there yet; its profile."""
    from service.demo.play import DEMO, play_whole

    if wants_more:
        raise CallError(_("--demo goes without --lan, --profile and --watch: it is only to be looked at"))
    play_whole(data)
    return (DEMO / "profile.toml",)
