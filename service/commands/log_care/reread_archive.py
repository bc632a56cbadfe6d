"""The archive read again from the command line: what was asked, how far it is, and the report in a folder."""

from __future__ import annotations

import hashlib
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from stripread.errors import CallError
from stripread.json_line import json_line
from stripread.words import _

if TYPE_CHECKING:
    from service.log.database import Database
    from service.readers.archive.asked import Asked
    from service.readers.archive.made import Made
    from service.readers.archive.workers import Workers
    from service.readers.cluster.left_in_store import LeftInStore
    from service.settings import Settings

TABLE, PAGE, PLOT = "changes.csv", "report.html", "plot.svg"


@dataclass(frozen=True)
class Wanted:
    """What the options say. ``batches`` empty and no ``since``: all."""

    batches: tuple[int, ...]
    since: str | None
    profile: Path | None
    out: Path
    keep: bool
    workers: int
    cluster: str | None = None


def reread_archive(settings: Settings, wanted: Wanted, *, as_json: bool) -> int:
    """Read again what is wanted, go on where an earlier call was ended, and write the report.

    Raises
    ------
    CallError
        With one sentence for whatever stops it; what was read until then stays.
    """
    from service.log.database import Database
    from service.readers.archive.asked import newest
    from service.readers.archive.changes import changes_of
    from service.readers.archive.keeping import keep_changes
    from service.readers.archive.made import Made
    from service.readers.cluster.scheduler import ClusterLost

    other = None if wanted.profile is None else _profile(wanted.profile)
    try:
        wanted.out.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise CallError(_("can't make {out}: {strerror}", out=wanted.out, strerror=problem.strerror)) from None
    database = Database(settings.database_url, read_only=not wanted.keep)
    with closing(database), closing(Made(wanted.out)) as made:
        asked = _begun(database, made, wanted, other)
        try:
            _read(settings, wanted, (database, asked, made), other)
        except KeyboardInterrupt:
            raise CallError(_("stopped: the same command goes on from there")) from None
        except ClusterLost as problem:
            text = _(
                "the cluster {url} is lost ({problem}); the same command goes on from there",
                url=wanted.cluster,
                problem=problem,
            )
            raise CallError(text) from None
        except OSError as problem:  # the store of photos is away, or this computer's disk is full
            said = problem.strerror or str(problem)
            raise CallError(_("{problem}; the same command goes on from there", problem=said)) from None
        with database.read() as c:
            later = newest(c)[0]
        if asked.up_to < later:  # an earlier call's folder, begun when the log had fewer
            text = _("this is up to entry {up_to}; for newer ones name another --out", up_to=str(asked.up_to))
            click.echo(f"stripread: {text}", err=True)
        report = changes_of(database, asked, made)
        added = keep_changes(database, asked, made, other) if wanted.keep else 0
    from service.log.listing import csv_text
    from service.report.archive_plot import archive_plot
    from service.report.archive_report import html_page, lead
    from service.report.plots import render

    (wanted.out / TABLE).write_bytes(csv_text(report.csv_rows()).encode())
    plot = render(archive_plot, report)
    (wanted.out / PAGE).write_text(html_page(report, plot, kept=wanted.keep), encoding="utf-8")
    if plot is not None:
        (wanted.out / PLOT).write_bytes(plot)
    if as_json:
        click.echo(json_line({**report.to_dict(), "added": added}))
        return 0
    click.echo(lead(report))
    if wanted.keep:
        click.echo(_("{added} new entries", added=added))
    click.echo(str(wanted.out / PAGE))
    return 0


def _begun(database: Database, made: Made, wanted: Wanted, text: str | None) -> Asked:
    from service.readers.archive.asked import need_same_log

    asked = made.begin(_asked(database, wanted, text))
    with database.read() as c:
        need_same_log(c, asked, made.path)
    return asked


def _asked(database: Database, wanted: Wanted, text: str | None) -> Asked:
    from service.log.models import now
    from service.readers.archive.asked import Asked, need_batches, newest
    from service.readers.archive.run import strip_name
    from stripread.results import SOFTWARE

    with database.read() as c:
        need_batches(c, wanted.batches)
        number, head = newest(c)
    return Asked(
        software=SOFTWARE,
        begun_at=now(),
        up_to=number,
        head=head,
        batches=tuple(sorted(set(wanted.batches))),
        since=wanted.since,
        profile=None if text is None else hashlib.sha256(text.encode()).hexdigest(),
        strip=None if text is None else strip_name(text),
    )


def _read(settings: Settings, wanted: Wanted, of: tuple[Database, Asked, Made], text: str | None) -> None:
    from service.commands.log_care.progress import told
    from service.log.photos.away import StoredBlobs
    from service.log.photos.place import blobs_of
    from service.readers.archive.run import Archive, read_archive
    from service.readers.cluster.left_in_store import LeftInStore

    database, asked, made = of
    with closing(blobs_of(settings.data, reading=True)) as blobs:
        left = LeftInStore(blobs) if wanted.cluster is not None and isinstance(blobs, StoredBlobs) else None
        archive = Archive(database, left or blobs, wanted.out / "profiles", text)
        with closing(_workers(settings, wanted, left)) as workers, told() as progress:
            read_archive(archive, asked, made, workers, lambda done, of: progress(_("entries"), done, of))


def _workers(settings: Settings, wanted: Wanted, left: LeftInStore | None) -> Workers:
    from service.readers.archive.run import AHEAD
    from service.readers.archive.workers import OwnWorkers
    from service.readers.photo_reader import PipelineReader

    make = settings.reader or PipelineReader
    if wanted.cluster is not None:
        from service.readers.cluster.scheduler import ClusterLost, ClusterWorkers

        try:
            # Before the photo that is waited for as many wait as are lined up.
            return ClusterWorkers(wanted.cluster, make, settings.reading_timeout * (AHEAD + 1), left)
        except ClusterLost as problem:
            text = _("the cluster {url} does not answer: {problem}", url=wanted.cluster, problem=problem)
            raise CallError(text) from None
    return OwnWorkers(make, wanted.workers, settings.reading_timeout, settings.worker_memory)


def _profile(path: Path) -> str:
    from service.log.profiles import check_profile

    check_profile(path)
    return path.read_text(encoding="utf-8")
