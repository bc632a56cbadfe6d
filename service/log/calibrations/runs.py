"""Runs: each time that a profile is worked out from a draft, how that ended, and what it found."""

from __future__ import annotations

import json
from typing import Any, Literal

from sqlalchemy import Connection, insert, select, update

from service.errors import Conflict, NotFound
from service.log.models import calibration_runs, now
from stripread.json_line import json_line
from stripread.words import N_, _

Row = dict[str, Any]
State = Literal["running", "done", "failed", "cancelled"]
# Why there is no curve: kept in English, told in the reader's language
SERVICE_ENDED = N_("The service ended meanwhile. Nothing is lost: start it again.")
CANCELLED = N_("Cancelled. Nothing is lost: start it again when you like.")
OUR_FAULT = N_("Working this out failed; the bench computer's terminal says why. The photos are kept.")


def begin_run(c: Connection, calibration: int, photos: list[int]) -> int:
    """Write down that a run begins with these photos; its number.

    Raises
    ------
    Conflict
        If one of this draft is under way.
    """
    latest = latest_run(c, calibration)
    if latest is not None and latest["state"] == "running":
        raise Conflict("run_under_way", _("This calibration is being worked out now. Wait for it, or cancel it."))
    values = {"calibration_id": calibration, "begun_at": now(), "state": "running", "photos": json_line(photos)}
    return int(c.execute(insert(calibration_runs).values(**values).returning(calibration_runs.c.id)).scalar_one())


def end_run(c: Connection, run: int, state: State, found: Row, profile_sha256: str | None = None) -> bool:
    """Write down how a run ended; whether it was still running. The first end counts."""
    still = (calibration_runs.c.id == run) & (calibration_runs.c.state == "running")
    values = {"ended_at": now(), "state": state, "found": json_line(found), "profile_sha256": profile_sha256}
    return c.execute(update(calibration_runs).where(still).values(**values)).rowcount > 0


def break_off(c: Connection) -> None:
    """Runs that were under way when the service ended: nothing works on them any more."""
    found = {"why": SERVICE_ENDED}
    for number in c.execute(select(calibration_runs.c.id).where(calibration_runs.c.state == "running")).scalars().all():
        end_run(c, number, "failed", found)


def latest_run(c: Connection, calibration: int) -> Row | None:
    """The newest run of a draft."""
    query = select(calibration_runs).where(calibration_runs.c.calibration_id == calibration)
    row = c.execute(query.order_by(calibration_runs.c.id.desc()).limit(1)).mappings().one_or_none()
    return None if row is None else _run(dict(row))


def latest_result(c: Connection, calibration: int) -> Row | None:
    """The newest run of a draft that led to a profile."""
    query = select(calibration_runs).where(
        calibration_runs.c.calibration_id == calibration, calibration_runs.c.state == "done"
    )
    row = c.execute(query.order_by(calibration_runs.c.id.desc()).limit(1)).mappings().one_or_none()
    return None if row is None else _run(dict(row))


def known_result(c: Connection, calibration: int) -> Row:
    """The newest run of a draft that led to a profile, which there must be.

    Raises
    ------
    NotFound
        If there is none yet.
    """
    found = latest_result(c, calibration)
    if found is None:
        raise NotFound("no_curve_yet", _("This calibration has no curve yet: work it out first."))
    return found


def _run(row: Row) -> Row:
    return {**row, "photos": json.loads(row["photos"]), "found": json.loads(row["found"])}
