"""Profiles by name and version, and which of them is current. Old ones stay: readings made with them name them."""

from __future__ import annotations

from typing import Any, Literal

from sqlalchemy import Connection, func, insert, select

from service.errors import NotFound
from service.log.calibrations.kept import keep_profile
from service.log.models import calibration_runs, now, profile_choices, profile_versions, profiles
from stripread.words import _

Row = dict[str, Any]
Origin = Literal["calibrated", "imported", "given"]


def add_version(c: Connection, text: str, name: str, origin: Origin, run: int | None = None) -> Row:
    """Keep a profile under the next version of its name; a text that is there already keeps its own.

    The first of a name is chosen at once, so is one that was given at the start: whoever gave it wants it.
    """
    sha256 = keep_profile(c, text)
    there = c.execute(select(profile_versions).where(profile_versions.c.profile_sha256 == sha256)).mappings().first()
    if there is not None:
        return dict(there)
    newest = c.execute(select(func.max(profile_versions.c.version)).where(profile_versions.c.name == name)).scalar()
    values = {
        "name": name,
        "version": (newest or 0) + 1,
        "profile_sha256": sha256,
        "origin": origin,
        "run_id": run,
        "at": now(),
    }
    number = int(c.execute(insert(profile_versions).values(**values).returning(profile_versions.c.id)).scalar_one())
    if newest is None or origin == "given":
        choose(c, number)
    return {"id": number, **values}


def take_given(c: Connection, text: str, name: str, changed: str) -> None:
    """Keep a profile given at the start, whose file was changed at that time (ISO 8601, UTC).

    It is chosen unless another version was chosen after that: what somebody did last counts.
    """
    row = add_version(c, text, name, "given")
    last = c.execute(
        select(profile_choices.c.at, profile_choices.c.version_id)
        .join(profile_versions, profile_versions.c.id == profile_choices.c.version_id)
        .where(profile_versions.c.name == name)
        .order_by(profile_choices.c.id.desc())
        .limit(1)
    ).one()
    if last.version_id != row["id"] and changed > last.at:
        choose(c, row["id"])


def choose(c: Connection, version: int) -> None:
    """Make a version the current one of its name, from now on; readings keep the one that they were made with."""
    known_version(c, version)
    c.execute(insert(profile_choices).values(version_id=version, at=now()))


def current_versions(c: Connection) -> dict[str, Row]:
    """The version chosen last, by name."""
    query = (
        select(profile_versions)
        .join(profile_choices, profile_choices.c.version_id == profile_versions.c.id)
        .order_by(profile_choices.c.id)
    )
    return {row["name"]: dict(row) for row in c.execute(query).mappings()}


def all_versions(c: Connection) -> list[Row]:
    """Every version, by name and newest first, with ``calibration``: the draft that it came of, if any."""
    query = (
        select(profile_versions, calibration_runs.c.calibration_id.label("calibration"))
        .outerjoin(calibration_runs, calibration_runs.c.id == profile_versions.c.run_id)
        .order_by(profile_versions.c.name, profile_versions.c.version.desc())
    )
    return [dict(row) for row in c.execute(query).mappings()]


def known_version(c: Connection, number: int) -> Row:
    """A version that must exist, with the ``text`` of its profile.

    Raises
    ------
    NotFound
        If it does not.
    """
    query = (
        select(profile_versions, profiles.c.text)
        .join(profiles, profiles.c.sha256 == profile_versions.c.profile_sha256)
        .where(profile_versions.c.id == number)
    )
    row = c.execute(query).mappings().one_or_none()
    if row is None:
        raise NotFound("no_such_profile", _("There is no profile {number}.", number=number))
    return dict(row)


def text_of(c: Connection, sha256: str) -> str:
    """The text of a kept profile.

    Raises
    ------
    NotFound
        If the log has none of this SHA-256.
    """
    text = c.execute(select(profiles.c.text).where(profiles.c.sha256 == sha256)).scalar_one_or_none()
    if text is None:
        raise NotFound("no_such_profile", _("There is no profile {number}.", number=sha256[:12]))
    return str(text)
