"""Photos put into the log without a service: through the same intake, so that the same promises hold.

It may run beside a service on the same folder: the log's own locks keep them apart, and nothing is swept away here.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from service.errors import ServiceError
from service.log.database import Database
from service.log.photos.place import blobs_of
from service.log.profiles import Profiles
from service.readers.intake import Intake, Submission, Taken
from service.readers.photo_reader import PipelineReader
from service.readers.pool import WorkPool
from service.settings import Settings
from stripread.errors import CallError
from stripread.states.table import mark
from stripread.words import _, number, say


def add_photos(
    settings: Settings, photos: Sequence[tuple[Submission, Path]], told: Callable[[Taken], None]
) -> list[Taken]:
    """Read and log photos one after the other; ``told`` hears of each as soon as it is in the log.

    Raises
    ------
    CallError
        What the service would have answered with a problem: no such batch, closed, no profile; or a file not there.
    """
    database = Database(settings.database_url)
    try:
        database.migrate()
        return asyncio.run(_all(settings, database, photos, told))
    except ServiceError as problem:
        raise CallError(problem.detail.rstrip(".")) from None
    finally:
        database.close()


async def _all(
    settings: Settings,
    database: Database,
    photos: Sequence[tuple[Submission, Path]],
    told: Callable[[Taken], None],
) -> list[Taken]:
    make = settings.reader or PipelineReader
    pool = WorkPool(make, 1, 1, settings.reading_timeout, settings.worker_memory)
    blobs = blobs_of(settings.data)
    intake = Intake(database, blobs, pool, Profiles(settings, database), settings.same_photo_window)
    done = []
    try:
        for sent, path in photos:
            try:
                source = path.open("rb")
            except OSError as problem:
                raise CallError(_("can't open {path}: {strerror}", path=path, strerror=problem.strerror)) from None
            with source:
                done.append(await intake.take(sent, source))
            told(done[-1])
    finally:
        pool.close()
        blobs.send_now()
    return done


def entry_lines(taken: Taken, own: Callable[[list[tuple[str, str]]], list[str]]) -> str:
    """An entry in words: its number, value and interval, then one a line what ``own`` leaves of reasons and cautions.

    ``own`` takes them as (code, message) and may hold back what a whole run shares.
    """
    entry = taken.entry
    head = _(
        "entry {entry_id}: {entry}  [{mark}]",
        entry_id=taken.entry_id,
        entry=value_words(entry),
        mark=mark(entry["status"]),
    )
    if "moment" in entry["log"]:
        head += f"  {entry['log']['moment']['text']}, {entry['log']['moment']['told']}"
    if taken.repeated:
        head += _("  (was in the log already)")
    more = [(reason["code"], reason["message"]) for reason in entry["reasons"]]
    more += [("caution_of_the_log", text) for text in entry["log"]["cautions"]]
    waits = "It does not count until that is answered (`stripread batch correct`)."
    asked = [f"    ? {question['sentence']} {waits}" for question in entry["log"].get("asked", [])]
    return "\n".join([head, *(f"    {text}" for text in own(more)), *asked])


def value_words(entry: dict[str, Any]) -> str:
    """An entry's value and interval in words."""
    if entry["kind"] == "ph" and entry["ph"] is not None:
        low, high = entry["interval"]
        return _("pH {ph:.2f}  (95 %: {low:.2f} to {high:.2f})", ph=entry["ph"], low=low, high=high)
    if entry["kind"] == "tint" and entry["absorbance"] is not None:
        if entry["mg_per_l"] is not None and entry["interval"] is not None:
            low, high = entry["interval"]
            return _(
                "{decision}: {mg_per_l:.1f} mg/L copper (95 %: {low:.1f} to {high:.1f})",
                decision=say(entry["decision"]),
                mg_per_l=entry["mg_per_l"],
                low=low,
                high=high,
            )
        return _(
            "{decision}: absorbance {absorbance:.4f}", decision=say(entry["decision"]), absorbance=entry["absorbance"]
        )
    if entry["kind"] == "solid" and entry["pale_fraction"] is not None:
        low, high = entry["pale_interval"]
        return _(
            "pale share {pale_fraction:.3f}  (95 %: {low:.3f} to {high:.3f})",
            pale_fraction=entry["pale_fraction"],
            low=low,
            high=high,
        )
    if entry["kind"] == "cells" and entry["ratio"] is not None:
        return _(
            "{matching}: left over right {ratio}",
            matching=cells_words(entry["matching"]),
            ratio=" ".join(number(v, ".3f") for v in entry["ratio"]),
        )
    return _("no value")


def cells_words(matching: str) -> str:
    """What a photo of a pair of vials shows, in words."""
    return _("swapped vials") if matching == "swapped" else _("cell blank")
