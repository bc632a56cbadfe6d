"""Profiles over HTTP: versions by name, the current one chosen, files in and out, control strips over time."""

from __future__ import annotations

import hashlib
from typing import Annotated, Any

from fastapi import APIRouter, File, Form, Path, Response, UploadFile
from sqlalchemy import Connection
from starlette.concurrency import run_in_threadpool

from service.errors import WrongStatement
from service.log.calibrations import controls, versions
from service.log.entries import file_name
from service.log.fields import MAX_ID, Text
from service.readers.calibrating.jobs import ControlJob, KnownFile, check_text_job, control_job
from service.readers.calibrating.said import said_liquid
from service.web.calibrating.models import (
    ControlChart,
    ControlPoint,
    Nothing,
    Ph,
    PhSd,
    ProfileOut,
    SentControl,
    SentProfile,
    Warmth,
)
from service.web.components import Service, ServiceDep
from service.web.once import OnceDep
from service.web.problems import responses
from stripread.words import _
from stripread.words.retold import retold

router = APIRouter(
    prefix="/api/profiles", tags=["calibrations"], responses=responses(401, 403, 421, 422, 429, 500, 503)
)
ProfileId = Annotated[int, Path(ge=1, le=MAX_ID, examples=[1])]
_POSTED = responses(400, 404, 408, 409, 413, 507)
_LARGEST = 4 * 1024 * 1024  # of a profile's file: fifty times what is written
_LATEST = 40  # controls that one check looks at: what was long ago says little of today's strips


@router.get("")
def list_profiles(service: ServiceDep) -> list[ProfileOut]:
    """Every version, by name and newest first. Old ones stay: readings made with them can be made again."""
    with service.database.read() as c:
        return _all(c)


@router.post("", status_code=201, response_model=ProfileOut, responses=_POSTED)
async def import_profile(
    once: OnceDep, profile: Annotated[UploadFile, File(description="A profile's file, as exported here.")]
) -> Response:
    """Take in a profile's file as the next version of its name; choose it to read with it."""
    data = await profile.read(_LARGEST + 1)
    try:
        text = data.decode() if len(data) <= _LARGEST else None
    except UnicodeDecodeError:
        text = None
    if text is None:
        raise WrongStatement("no_profile_file", _("This is no profile's file: it is too large, or no text."))
    name = await once.service.calibrating.do(check_text_job, text)

    def act(c: Connection) -> ProfileOut:
        row = versions.add_version(c, text, name, "imported")
        return next(one for one in _all(c) if one.id == row["id"])

    body = SentProfile(sha256=hashlib.sha256(data).hexdigest())
    return await run_in_threadpool(once.answer, body, ProfileOut, act, 201)


@router.post("/{profile}/current", response_model=list[ProfileOut], responses=responses(400, 404, 413, 507))
def choose(profile: ProfileId, once: OnceDep) -> Response:
    """Make this version the current one of its name: new readings are made with it."""

    def act(c: Connection) -> list[ProfileOut]:
        versions.choose(c, profile)
        return _all(c)

    return once.answer(Nothing(), list[ProfileOut], act)


@router.get(
    "/{profile}/file",
    response_class=Response,
    responses={**responses(404), 200: {"content": {"application/toml": {}}}},
)
def export(profile: ProfileId, service: ServiceDep) -> Response:
    """The profile's file, as `stripread read` takes it."""
    with service.database.read() as c:
        row = versions.known_version(c, profile)
    name = f"profile-{row['id']}.toml"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(row["text"].encode(), media_type="application/toml", headers=headers)


@router.post("/{profile}/check", status_code=201, response_model=ControlChart, responses=_POSTED)
async def check_profile(
    *,
    profile: ProfileId,
    once: OnceDep,
    photo: Annotated[UploadFile, File(description="A strip in a liquid of known pH.")],
    liquid: Annotated[Text, Form(max_length=60, description="A liquid of `/api/liquids`, or your name for it.")] = "",
    temperature_c: Annotated[Warmth | None, Form(description="Of the liquid, °C.")] = None,
    ph: Annotated[Ph | None, Form(description="Instead of a liquid of the table: its pH by label or meter.")] = None,
    ph_sd: Annotated[PhSd | None, Form(description="Standard deviation of that pH; 0.02 if not said.")] = None,
) -> Response:
    """Read a control strip with this profile and keep it: is the calibration still true? As `stripread check`."""
    service = once.service
    said = said_liquid(liquid, temperature_c, ph, ph_sd)
    known, before = await run_in_threadpool(_known, service, profile)
    sha256, size = await run_in_threadpool(service.blobs.keep, photo.file)
    name = file_name(photo.filename)
    others = [row for row in before if row["photo_sha256"] != sha256][-_LATEST:]
    files = await run_in_threadpool(_files, service, others)
    newest = KnownFile(service.blobs.path(sha256), name, said.ph, said.ph_sd, said.liquid)
    path = (await run_in_threadpool(service.profiles.keep, known["text"])).path
    reading, found = await service.calibrating.do(control_job, ControlJob(path, (*files, newest)))
    new = controls.NewControl(sha256, size, name, said.liquid, said.ph, said.ph_sd, reading, found)

    def act(c: Connection) -> ControlChart:
        if all(row["photo_sha256"] != sha256 for row in controls.controls_of(c, profile)):
            controls.add_control(c, profile, new)
        return _chart(c, profile)

    body = SentControl(sha256=sha256, file=name, liquid=said.liquid, ph=said.ph, ph_sd=said.ph_sd)
    return await run_in_threadpool(once.answer, body, ControlChart, act, 201)


@router.get("/{profile}/checks", responses=responses(404))
def control_chart(profile: ProfileId, service: ServiceDep) -> ControlChart:
    """The control strips read with this profile, oldest first, with warning and action limits."""
    with service.database.read() as c:
        versions.known_version(c, profile)
        return _chart(c, profile)


def _known(service: Service, profile: int) -> tuple[versions.Row, list[controls.Row]]:
    with service.database.read() as c:
        return versions.known_version(c, profile), controls.controls_of(c, profile)


def _files(service: Service, rows: list[controls.Row]) -> list[KnownFile]:
    return [
        KnownFile(service.blobs.here(row["photo_sha256"]), row["file"], row["ph"], row["ph_sd"], row["liquid"])
        for row in rows
    ]


def _all(c: Connection) -> list[ProfileOut]:
    current = {row["id"] for row in versions.current_versions(c).values()}
    return [
        ProfileOut(
            current=row["id"] in current,
            sha256=row["profile_sha256"],
            controls=len(controls.controls_of(c, row["id"])),
            **{key: row[key] for key in ("id", "name", "version", "origin", "calibration", "at")},
        )
        for row in versions.all_versions(c)
    ]


def _chart(c: Connection, profile: int) -> ControlChart:
    rows = controls.controls_of(c, profile)
    return ControlChart(
        profile=profile,
        warning=controls.WARNING,
        action=controls.ACTION,
        points=[_point(row) for row in rows],
        check=rows[-1]["found"] if rows else None,
    )


def _point(row: controls.Row) -> ControlPoint:
    reading: dict[str, Any] = row["reading"]
    error, deviations, where = controls.stands(row["ph"], row["ph_sd"], reading)
    return ControlPoint(
        read=reading.get("ph"),
        interval=reading.get("interval"),
        status=reading["status"],
        error=None if error is None else round(error, 3),
        deviations=None if deviations is None else round(deviations, 2),
        where=where,
        reasons=[{**reason, "message": retold(reason["message"])} for reason in reading["reasons"]],
        **{key: row[key] for key in ("id", "at", "file", "liquid", "ph", "ph_sd")},
    )
