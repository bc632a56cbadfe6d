"""`stripread bench`: several benches beside each other in one log, each with its own batches; beside a service too."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from service.terminal.log_options import log_options, opened
from stripread.errors import CallError
from stripread.json_line import json_line
from stripread.words import _, _n

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from service.log.benches.rows import Bench


@click.group("bench")
def command() -> None:
    """Name benches that see their own batches alone. Without any, whoever joined sees all.

    What is made or ended here counts at once, also in a service that runs.
    """


@contextmanager
def _writing(data: Path, database: str | None, *, make: bool = False) -> Iterator[Connection]:
    from service.errors import ServiceError

    try:
        with opened(data, database, make) as log, log.write(alone=True) as c:
            yield c
    except ServiceError as wrong:
        raise CallError(wrong.detail) from None


@command.command("add")
@click.argument("name")
@click.option("--profile", "profiles", multiple=True, help="Name of a profile that it may read with (default: all).")
@log_options
def add(name: str, profiles: tuple[str, ...], data: Path, database: str | None) -> int:
    """Name a new bench. Its phones join by `bench link`, its programs have what `bench token` prints."""
    from service.log.benches.rows import add_bench

    with _writing(data, database, make=True) as c:
        bench = add_bench(c, name, _known(c, profiles) if profiles else _profiles(c))
    click.echo(_line(bench))
    return 0


@command.command("list")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a bench.")
@log_options
def list_benches(as_json: bool, data: Path, database: str | None) -> int:
    """The benches by number and name, with their batches, profiles, and tokens that are in force."""
    from service.log.benches.rows import all_benches
    from service.log.benches.secrets import secrets_of, working

    with opened(data, database, reading=True) as log, log.read() as c:
        found = [(bench, [one for one in secrets_of(c, bench.id) if working(one)]) for bench in all_benches(c)]
    for bench, secrets in found:
        tokens = [one for one in secrets if one.sort == "token" and bench.revoked_at is None]
        if as_json:
            click.echo(json_line(asdict(bench) | {"tokens": [{"id": t.id, "made_at": t.made_at} for t in tokens]}))
            continue
        click.echo(_line(bench))
        for token in tokens:
            click.echo(_("        token {number}, since {day}", number=token.id, day=token.made_at[:10]))
    if not found and not as_json:
        click.echo(_("no benches: whoever joined sees all; `stripread bench add NAME` names the first"))
    return 0


@command.command("token")
@click.argument("bench")
@log_options
def token(bench: str, data: Path, database: str | None) -> int:
    """Print a new token for a program of BENCH, this once: it goes with each request as `Authorization: Bearer TOKEN`.

    Earlier tokens stay; `bench revoke BENCH --token NUMBER` ends one.
    """
    from service.log.benches.rows import bench_named
    from service.log.benches.secrets import add_token

    with _writing(data, database) as c:
        made = add_token(c, bench_named(c, bench).id)
    click.echo(made)
    return 0


@command.command("link")
@click.argument("bench")
@click.option("--address", help="Where the page is for phones (default: this computer's, port 8000).")
@log_options
def link(bench: str, address: str | None, data: Path, database: str | None) -> int:
    """Print a link, and its code to scan, by which phones join BENCH; its earlier link ends.

    It lets in 10 phones within 12 hours, and is shown this once.
    """
    import segno

    from service.authority.names import lan_address
    from service.log.benches.rows import bench_named
    from service.log.benches.secrets import add_link
    from service.report.labels.address import page_root
    from service.settings import Settings

    root = page_root(address or f"http://{lan_address()}:8000")
    bounds = Settings(data)
    with _writing(data, database) as c:
        made = add_link(c, bench_named(c, bench).id, joins=bounds.link_joins, seconds=bounds.link_age)
    whole = f"{root.rstrip('/')}/#join={made}"
    segno.make(whole, error="l").terminal(compact=True)
    click.echo(whole)
    return 0


@command.command("revoke")
@click.argument("bench")
@click.option("--token", "number", type=click.IntRange(min=1), help="End this token alone, by its number in the list.")
@log_options
def revoke(bench: str, number: int | None, data: Path, database: str | None) -> int:
    """Shut BENCH at once: its phones, links and tokens end on every service of this log. Its batches stay."""
    from service.log.benches.rows import bench_named, revoke_bench
    from service.log.benches.secrets import revoke_one

    with _writing(data, database) as c:
        found = bench_named(c, bench)
        if number is not None:
            revoke_one(c, found.id, number)
        elif not revoke_bench(c, found.id):
            raise CallError(_("{name} was revoked already", name=found.name))
    if number is None:
        click.echo(_("{name} is revoked; its batches stay", name=found.name))
    else:
        click.echo(_("token {number} of {name} is revoked", number=number, name=found.name))
    return 0


@command.command("rename")
@click.argument("bench")
@click.argument("name")
@log_options
def rename(bench: str, name: str, data: Path, database: str | None) -> int:
    """Call BENCH otherwise: NAME."""
    from service.log.benches.rows import bench_named, known_bench, rename_bench

    with _writing(data, database) as c:
        number = bench_named(c, bench).id
        rename_bench(c, number, name)
        renamed = known_bench(c, number)
    click.echo(_line(renamed))
    return 0


@command.command("profiles")
@click.argument("bench")
@click.argument("names", nargs=-1)
@click.option("--none", "no_profiles", is_flag=True, help="Take all of them back.")
@log_options
def profiles(bench: str, names: tuple[str, ...], no_profiles: bool, data: Path, database: str | None) -> int:
    """Hand BENCH the profiles of these NAMES, and no others; without names, say which it has and which there are."""
    from service.log.benches.rows import bench_named, hand_out, known_bench

    if names and no_profiles:
        raise CallError(_("give the names of profiles, or --none, not both"))
    with _writing(data, database) as c:
        found = bench_named(c, bench)
        known = _profiles(c)
        if names or no_profiles:
            hand_out(c, found.id, _known(c, names, found.profiles))
            found = known_bench(c, found.id)
    for name in sorted({*known, *found.profiles}):
        click.echo(f"{'+' if name in found.profiles else '-'} {name}")
    return 0


@command.command("give")
@click.argument("bench")
@click.argument("batch", type=click.IntRange(min=1))
@click.option("--back", is_flag=True, help="Take it back instead: it is the keeper's.")
@log_options
def give(bench: str, batch: int, back: bool, data: Path, database: str | None) -> int:
    """Make BATCH that of BENCH from now on; its history says so."""
    from service.log import store
    from service.log.benches.rows import bench_named, working_bench

    with _writing(data, database) as c:
        found = bench_named(c, bench)
        store.known_batch(c, batch)
        if back:
            store.take_batch(c, batch, found.id)
        else:
            store.give_batch(c, batch, working_bench(c, found.id).id)
    if back:
        click.echo(_("batch {batch} is the keeper's", batch=str(batch)))
    else:
        click.echo(_("batch {batch} is that of {name}", batch=str(batch), name=found.name))
    return 0


def _profiles(c: Connection) -> list[str]:
    """Names of the profiles that the log knows."""
    from service.log.calibrations.versions import current_versions

    return sorted(current_versions(c))


def _known(c: Connection, names: tuple[str, ...], also: tuple[str, ...] = ()) -> tuple[str, ...]:
    known = [*_profiles(c), *also]
    unknown = [name for name in names if name not in known]
    if unknown:
        raise CallError(
            _(
                "the log knows no profile {name!r}; it knows: {known}",
                name=unknown[0],
                known=", ".join(dict.fromkeys(known)) or _("none"),
            )
        )
    return names


def _line(bench: Bench) -> str:
    batches = _n("{n} batch", "{n} batches", bench.batches)
    names = ", ".join(bench.profiles) or _("none")
    shut = "" if bench.revoked_at is None else _(", revoked {day}", day=bench.revoked_at[:10])
    return f"{bench.id:4d}  {bench.name}: {batches}, {_('profiles: {names}', names=names)}{shut}"
