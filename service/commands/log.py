"""`stripread log`: the log of the bench service."""

from __future__ import annotations

import errno
from pathlib import Path
from typing import TYPE_CHECKING

import click

from service.commands.finding.phones import phones
from service.commands.log_care.move import move
from service.commands.log_care.photos import photos
from service.commands.log_care.recount import recount
from service.terminal.log_options import log_options
from stripread.errors import CallError
from stripread.json_line import json_line
from stripread.words import _

if TYPE_CHECKING:
    from service.log.check import LogCheck


@click.group("log")
def command() -> None:
    """Look after the log of the bench service."""


command.add_command(phones)
command.add_command(recount)
command.add_command(move)
command.add_command(photos)


@command.command("check")
@click.option("--data", type=click.Path(path_type=Path), default=Path("stripread-data"), help="Folder of the log.")
@click.option("--database", help="SQLAlchemy URL, if it is not SQLite in the data folder.")
@click.option("--head", "asked", metavar="HEX", help="Head of the chain as a report shows it: is it in this log?")
@click.option("--json", "as_json", is_flag=True, help="Print the findings as JSON.")
@click.option("--anew", is_flag=True, help="Begin anew, where an earlier check was stopped.")
def check(data: Path, database: str | None, asked: str | None, as_json: bool, anew: bool) -> int:
    """Verify chain, guards, rows, files and hashes against each other, and name files that no entry names.

    Nothing of the log is changed: a copy that nobody may write to can be checked. One that is stopped keeps how far it
    was in `check.json` of the folder, and the next goes on from there. Exit code 0 when every row is as it was logged
    and has all that it names (and, with --head, that head is in the chain), 1 when not.
    """
    from dataclasses import asdict

    from sqlalchemy.exc import SQLAlchemyError

    from service.commands.log_care.progress import told
    from service.log.check import check_log
    from service.log.check.going_on import NAME
    from service.log.database import Database
    from service.log.photos.store import StoreAway
    from service.settings import Settings
    from service.terminal.log_options import check_there

    digits = None if asked is None else _head_digits(asked)
    check_there(data, database)
    log = Database(Settings(data, database).database_url, read_only=True)
    try:
        with told() as progress:
            found = check_log(log, data, digits, keep=data / NAME, anew=anew, progress=progress)
    except KeyboardInterrupt:
        raise CallError(_("stopped: the same command goes on from there, with --anew from the beginning")) from None
    except SQLAlchemyError as problem:
        raise CallError(_("can't read the log: {splitlines_0}", splitlines_0=str(problem).splitlines()[0])) from None
    except StoreAway as problem:
        raise CallError(_("{problem}; the same command goes on from there", problem=problem.strerror)) from None
    finally:
        log.close()
    click.echo(json_line(asdict(found)) if as_json else _lines(found))
    return 0 if found.whole else 1


@command.command("backup")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--damaged", is_flag=True, help="Take what is left of a log that is not whole.")
@log_options
def backup(file: Path, damaged: bool, data: Path, database: str | None) -> int:
    """Write all of the log into the new FILE, a tar, also while the service runs.

    In it: every row as of one moment, the photos as they were sent, the profiles, and a hash of each; not the paired
    phones. Keep it as private as the photos are. Exit code 0 when the log is whole, 1 when it is not (--damaged).
    """
    from contextlib import closing

    from sqlalchemy.exc import SQLAlchemyError

    from service.errors import ServiceError
    from service.log.archive.backup import prepare
    from service.log.archive.whole_file import beside, need_free, write_whole
    from service.settings import Settings
    from service.terminal.log_options import check_there
    from service.terminal.targets import check_target

    check_there(data, database)
    try:
        need_free(file)
        check_target(file, "FILE")
        made = prepare(Settings(data, database).database_url, data, beside(file), damaged=damaged)
        with closing(made):
            write_whole(file, made.pieces())
    except ServiceError as wrong:
        raise CallError(wrong.detail) from None
    except SQLAlchemyError as problem:
        raise CallError(_("no back-up was made: {splitlines_0}", splitlines_0=str(problem).splitlines()[0])) from None
    except OSError as problem:
        raise CallError(
            _("no back-up was made: can't write to {parent}: {problem}", parent=file.parent, problem=_why(problem))
        ) from None
    said = made.manifest
    click.echo(
        _(
            "{file}: {entries} entries, {photos} photos, {size:,} bytes",
            file=file,
            entries=said.counts["entries"],
            photos=said.counts["photos"],
            size=made.size,
        )
    )
    click.echo(f"head: {said.chain.head}")
    for fault in said.faults:
        click.echo(_("  fault: {fault}", fault=fault))
    return int(bool(said.faults))


@command.command("restore")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--to", required=True, type=click.Path(path_type=Path), help="Folder that is not there yet, or empty.")
@click.option("--damaged", is_flag=True, help="Restore a log that was not whole when it was backed up.")
def restore(file: Path, to: Path, damaged: bool) -> int:
    """Unpack a back-up into a folder and check every hash of it, and the log whole.

    A file that is damaged, cut off or changed is refused, and nothing is left behind. Phones join anew. Exit code 0
    when the log is whole, 1 when it is not (--damaged).
    """
    from service.log.archive.restore import restore as restored

    try:
        done = restored(file, to, damaged=damaged)
    except OSError as problem:
        raise CallError(
            _(
                "nothing was restored: can't write to {parent}: {problem}",
                parent=to.absolute().parent,
                problem=_why(problem),
            )
        ) from None
    click.echo(
        _(
            "{to}: of {made_at}, by {software!a}",
            to=to,
            made_at=done.manifest.made_at[:19].replace("T", " "),
            software=done.manifest.software[:60],
        )
    )
    click.echo(_lines(done.check))
    return int(not done.check.whole)


def _why(problem: OSError) -> str:
    if problem.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return _("its disk is full. Free some space, or name another place")
    return problem.strerror or str(problem)


def _head_digits(asked: str) -> str:
    digits = "".join(asked.lower().replace("-", " ").split())
    if not 16 <= len(digits) <= 64 or not set(digits) <= set("0123456789abcdef"):
        raise CallError(_("a head is 64 digits 0-9 and a-f, as the report shows them; give the first 16 or more"))
    return digits


def _lines(found: LogCheck) -> str:
    chain = found.chain
    lines = [
        _("{entries} entries, {photos} photos: ", entries=found.entries, photos=found.photos)
        + (_("whole") if found.whole else _("NOT WHOLE"))
    ]
    if chain.links:
        began = chain.began[:16].replace("T", " ")
        before = (
            _(", when it took up {taken_up} rows as they stood then", taken_up=chain.taken_up) if chain.taken_up else ""
        )
        lines.append(_("chain: {links} links since {began}{before}", links=chain.links, began=began, before=before))
        lines.append(f"head: {chain.head}")
    if chain.asked_link is not None and chain.asked_link <= chain.holds_to:
        lines.append(
            _(
                "the head {asked} is link {asked_link}: up to there the log is the one it was shown for",
                asked=chain.asked,
                asked_link=chain.asked_link,
            )
        )
    if found.resumed:
        lines.append(
            _(
                "went on from where the check of {at} UTC was stopped; --anew looks at all of it again",
                at=found.resumed[:16].replace("T", " "),
            )
        )
    lines += [_("  fault: {fault}", fault=fault) for fault in found.faults]
    lines += [
        _("  orphan: photo {orphan} was sent, but its post was cut off before it was logged", orphan=orphan)
        for orphan in found.orphans
    ]
    lines += [_("  unfinished: {name} (removed when the service starts)", name=name) for name in found.unfinished]
    lines += [_("  stray: {name} in the folder of photos is none of the log's", name=name) for name in found.strays]
    return "\n".join(lines)
