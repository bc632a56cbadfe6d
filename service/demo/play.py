"""The made-up batch played into a log: real photos through the real reader, notes and gates as at the bench."""

from __future__ import annotations

import secrets
import shutil
from pathlib import Path
from typing import Any

from sqlalchemy import Connection

from service.demo import script
from service.demo.scripts import script_of
from service.log import store
from service.log.blobs import Blobs
from service.log.correction import Correction, corrected_entry
from service.log.course.moving import choose_procedure, move_on
from service.log.database import Database
from service.log.models import made_up_time
from service.log.notes import add_note
from service.log.profiles import KeptProfile, Profiles
from service.readers.in_order import in_order
from service.readers.photo_reader import PipelineReader
from service.readers.swatches import swatches
from service.readers.worker import Job, Outcome, read_job
from service.settings import Settings
from stripread.errors import CallError
from stripread.words import SOURCE, _, speaking

DEMO = Path(__file__).parent
_MARK = "made-up"  # an empty file in a folder that was played


def play_whole(data: Path) -> None:
    """Write the made-up batch into ``data`` unless it is there: all of it or nothing, whatever ends this.

    Raises
    ------
    CallError
        Where ``data`` has another log, or can't be written.
    """
    if (data / _MARK).is_file():
        return
    if data.is_dir() and any(data.iterdir()):
        raise CallError(_("{data} is no folder of the demo: name a new one with --data", data=data))
    beside = data.with_name(f"{data.name}.{secrets.token_hex(4)}.part")
    try:
        beside.mkdir(parents=True)
        try:
            play(beside)
            (beside / _MARK).touch()
            beside.replace(data)  # over an empty folder, too
        finally:
            shutil.rmtree(beside, ignore_errors=True)
    except OSError as problem:
        raise CallError(_("can't write to {folder}: {value}", folder=data, value=problem.strerror or problem)) from None


def play(data: Path, made_up: script.Script | None = None) -> int:
    """Write a made-up batch, that by lye and sugar if not said, into a new log in ``data``; returns its number."""
    made_up = made_up or script_of("chloride_lye_sugar")
    settings = Settings(data, None, profiles=(DEMO / "profile.toml",))
    database = Database(settings.database_url)
    database.migrate()
    profile = Profiles(settings).current("ph")
    assert profile is not None
    steps = made_up.steps
    shots = [s for s in steps if isinstance(s, script.Shot)]
    jobs = [_job(shot, profile) for shot in shots]
    with speaking(SOURCE):  # a log is kept in one language
        outcomes = dict(zip(shots, in_order(PipelineReader, read_job, jobs), strict=True))
    blobs = Blobs(data / "photos")
    try:
        with database.write() as c:
            with made_up_time(made_up.opened):
                batch = store.add_batch(c, made_up.name, "UTC")
                choose_procedure(c, batch, made_up.procedure)
            entries: dict[str, int] = {}
            for step in steps:
                with made_up_time(step.at):
                    if isinstance(step, script.Shot):
                        entries[step.photo] = _log(c, batch, step, (blobs, profile, outcomes[step]))
                    else:
                        _do(c, batch, step, entries)
            with made_up_time(made_up.closed):
                store.change_batch(c, batch, name=None, closed=True, details=None)
    finally:
        database.close()
    return batch


def _do(c: Connection, batch: int, step: script.Step, entries: dict[str, int]) -> None:
    if isinstance(step, script.Written):
        add_note(c, batch, step.kind, step.fields)
    elif isinstance(step, script.Onward):
        move_on(c, batch, step.to, step.reason, step.who)
    elif isinstance(step, script.Struck):
        first = c.execute(_first_weight(batch)).scalar_one()
        add_note(c, batch, "strike", {"note": first, "why": step.why, "who": step.who})
    elif isinstance(step, script.Mended):
        old = store.entry(c, entries[step.photo])
        assert old is not None
        said = Correction(by=step.who, why=step.why, wash=step.wash, ph=None, confirm=False, undo=False)
        text = store.profile_text(c, old["profile_sha256"])
        kept = None if text is None else (old["profile_sha256"], text)
        store.add_entry(c, corrected_entry(old, said, store.photo_size(c, old["photo_sha256"]), kept))


def _first_weight(batch: int) -> Any:  # noqa: ANN401 - a query
    from sqlalchemy import func, select  # noqa: PLC0415

    from service.log.models import events  # noqa: PLC0415

    return select(func.min(events.c.id)).where(events.c.batch_id == batch, events.c.what == "bench:weight")


def _log(c: Connection, batch: int, shot: script.Shot, read: tuple[Blobs, KeptProfile, Outcome]) -> int:
    blobs, profile, outcome = read
    with (DEMO / shot.photo).open("rb") as source:
        sha256, size = blobs.keep(source)
    tint = shot.kind == "tint"
    new = store.NewEntry(
        batch_id=batch,
        kind=shot.kind,
        origin="photo",
        photo_sha256=sha256,
        photo_size=size,
        reading=outcome.reading,
        wash=shot.wash,
        note=shot.note,
        profile=(profile.sha256, profile.text) if shot.kind == "ph" else None,
        extras={
            "path_mm": script.PATH_MM if tint else None,
            "taking": script.ACID if tint else {},
            "colours": swatches(outcome),
        },
    )
    number = store.add_entry(c, new)
    if shot.blank:
        store.change_batch(c, batch, name=None, closed=None, details={"water": "unknown", "blank_entry": number})
    return number


def _job(shot: script.Shot, profile: KeptProfile) -> Job:
    kind: Any = shot.kind
    path, name = DEMO / shot.photo, Path(shot.photo).name
    if kind == "tint":
        return Job(kind, path, name, None, script.PATH_MM, script.ACID)
    return Job(kind, path, name, profile.path if kind == "ph" else None)
