"""Calibrations over HTTP: a draft, its photos at known pH, the maker's chart, and the curve worked out beside it."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, File, Form, Path, Response, UploadFile
from pydantic import TypeAdapter, ValidationError
from sqlalchemy import Connection
from starlette.concurrency import run_in_threadpool

from calibration.liquids.table import liquids
from service.errors import Conflict, WrongStatement
from service.log.calibrations import drafts, runs, versions
from service.log.entries import file_name
from service.log.fields import MAX_ID, Text
from service.readers.calibrating.jobs import LearnJob, LookJob, NextJob, look, look_at_chart, next_job, picture_job
from service.readers.calibrating.said import said_liquid
from service.web.calibrating.incoming import job_of, kept, passing
from service.web.calibrating.models import (
    AtHand,
    CalibrationOut,
    CalibrationPage,
    ChartIn,
    ChartPlaceIn,
    ChartSpotIn,
    Gain,
    NewCalibration,
    NextBest,
    Nothing,
    Ph,
    PhotoOut,
    PhSd,
    RunOut,
    SentChart,
    SentPhoto,
    Warmth,
)
from service.web.calibrating.stated import kind_of, with_chart
from service.web.calibrating.told import draft_out, photo_out, result_out, run_out, wanted
from service.web.components import Service, ServiceDep
from service.web.once import OnceDep
from service.web.problems import responses
from stripread.errors import CallError
from stripread.words import _, spoken
from stripread.words.retold import retold

router = APIRouter(
    prefix="/api/calibrations", tags=["calibrations"], responses=responses(401, 403, 421, 422, 429, 500, 503)
)
CalibrationId = Annotated[int, Path(ge=1, le=MAX_ID, examples=[1])]
PhotoId = Annotated[int, Path(ge=1, le=MAX_ID, examples=[1])]
_PLACES: TypeAdapter[list[ChartSpotIn] | list[ChartPlaceIn]] = TypeAdapter(list[ChartSpotIn] | list[ChartPlaceIn])
_SPOTS = "JSON: a list of {ph, pad, x_mm, y_mm} on the card, or of {ph, pad, across, down} in the photo, 0 to 1."
_POSTED = responses(400, 404, 408, 409, 413, 507)


@router.post("", status_code=201, response_model=CalibrationOut, responses=responses(400, 404, 409, 413, 507))
def start_calibration(body: NewCalibration, once: OnceDep) -> Response:
    """Begin a draft for a strip kind, or for the kind of a profile that is there."""
    from stripread.kind import kind_from_dict  # noqa: PLC0415 - with the models of files

    def act(c: Connection) -> CalibrationOut:
        table = body.kind
        if table is None and body.like_profile is not None:
            table = kind_of(versions.known_version(c, body.like_profile)["text"])
        if table is None:
            raise WrongStatement(
                "which_kind", _("Say which strip it is: its measures, or a profile of the same strip.")
            )
        try:
            kind = kind_from_dict(table, _("the strip kind")).to_dict()
        except CallError as wrong:
            raise WrongStatement("bad_kind", f"{str(wrong).rstrip('.')}.") from None
        number = drafts.add_calibration(c, body.name, kind)
        return draft_out({**drafts.known_calibration(c, number), "photos": 0})

    return once.answer(body, CalibrationOut, act, 201)


@router.get("")
def list_calibrations(service: ServiceDep) -> list[CalibrationOut]:
    """Drafts, newest first."""
    with service.database.read() as c:
        return [draft_out(row) for row in drafts.all_calibrations(c)]


@router.get("/{calibration}", responses=responses(404))
def show_calibration(calibration: CalibrationId, service: ServiceDep) -> CalibrationPage:
    """A draft: photos, chart, what is wanted next, the run under way, and the newest curve with its evidence."""
    with service.database.read() as c:
        draft = drafts.known_calibration(c, calibration)
        photos = drafts.photos_of(c, calibration)
        run, result = runs.latest_run(c, calibration), runs.latest_result(c, calibration)
    numbers = [row["id"] for row in photos]
    shown = None if result is None else result_out(result, numbers)
    return CalibrationPage(
        **{key: draft[key] for key in ("id", "name", "kind", "made_at", "closed_at", "chart")},
        photos=[photo_out(row) for row in photos],
        run=None if run is None else run_out(service.calibrating.progress, run),
        result=shown,
        wanted=wanted(draft, photos, shown),
    )


@router.delete("/{calibration}", status_code=204, responses=responses(404, 507))
def put_away(calibration: CalibrationId, service: ServiceDep) -> None:
    """Put a draft away. Its photos, and the profiles that came of it, stay."""
    with service.database.write() as c:
        drafts.close_calibration(c, calibration)


@router.post("/{calibration}/photos", status_code=201, response_model=PhotoOut, responses=_POSTED)
async def add_photo(
    *,
    calibration: CalibrationId,
    once: OnceDep,
    photo: Annotated[UploadFile, File(description="The photo as the phone made it.")],
    liquid: Annotated[Text, Form(max_length=60, description="A liquid of `/api/liquids`, or your name for it.")] = "",
    temperature_c: Annotated[Warmth | None, Form(description="Of the liquid, °C; its pH goes with it.")] = None,
    ph: Annotated[Ph | None, Form(description="Instead of a liquid of the table: its pH by label or meter.")] = None,
    ph_sd: Annotated[PhSd | None, Form(description="Standard deviation of that pH; 0.02 if not said.")] = None,
    light: Annotated[Text, Form(max_length=60, description="In what light it was taken, in your words.")] = "",
) -> Response:
    """Put a photo of a strip in a liquid of known pH into a draft. One that can't be read is refused at once.

    Send the same `Idempotency-Key` when you send again; the first answer comes back.
    """
    service = once.service
    said = said_liquid(liquid, temperature_c, ph, ph_sd)
    draft = await run_in_threadpool(_open_draft, service, calibration)
    name = file_name(photo.filename)
    async with passing(service, photo) as path:
        seen = await service.readers.run(look, LookJob("ph", path, name, strip=draft["kind"]))
        if seen.refused is not None:
            raise WrongStatement(seen.refused[0], retold(seen.refused[1]))
        sha256, size = await run_in_threadpool(kept, service, path)
    found = {"colours": list(seen.colours), "taken_at": seen.taken_at}
    body = SentPhoto(
        sha256=sha256,
        file=name,
        liquid=said.liquid,
        ph=said.ph,
        ph_sd=said.ph_sd,
        temperature_c=temperature_c,
        light=light,
    )
    new = drafts.NewPhoto(sha256, size, name, said.liquid, said.ph, said.ph_sd, temperature_c, light, found)
    return await run_in_threadpool(
        once.answer, body, PhotoOut, lambda c: photo_out(drafts.add_photo(c, calibration, new)), 201
    )


@router.delete("/{calibration}/photos/{photo}", status_code=204, responses=responses(404, 409, 507))
def take_out(calibration: CalibrationId, photo: PhotoId, service: ServiceDep) -> None:
    """Take a photo out of a draft; the next curve is worked out without it."""
    with service.database.write() as c:
        drafts.remove_photo(c, calibration, photo)


@router.put("/{calibration}/chart", response_model=CalibrationOut, responses=responses(400, 404, 409, 413, 507))
def set_chart(calibration: CalibrationId, body: ChartIn, once: OnceDep) -> Response:
    """The maker's chart as numbers, in the place of an earlier one."""
    return once.answer(
        body, CalibrationOut, lambda c: with_chart(c, calibration, [f.model_dump() for f in body.fields])
    )


@router.post("/{calibration}/chart", response_model=CalibrationOut, responses=_POSTED)
async def photograph_chart(
    *,
    calibration: CalibrationId,
    once: OnceDep,
    photo: Annotated[UploadFile, File(description="The chart lying on the card.")],
    spots: Annotated[str, Form(max_length=100_000, description=_SPOTS)],
) -> Response:
    """The maker's chart from a photo of it on the card, with the place of each field on the card or in the photo."""
    service = once.service
    try:
        places: list[ChartSpotIn | ChartPlaceIn] = [*_PLACES.validate_json(spots)]
    except ValidationError as wrong:
        first = wrong.errors()[0]
        where = ".".join(str(part) for part in first["loc"] if not str(part).startswith("list["))
        raise WrongStatement(
            "bad_spots", _("The chart's fields do not fit: {where}: {what}.", where=where, what=first["msg"])
        ) from None
    if not places:
        raise WrongStatement("bad_spots", _("Say where on the card the chart's fields lie."))
    await run_in_threadpool(_open_draft, service, calibration)
    name = file_name(photo.filename)
    async with passing(service, photo) as path:
        seen = await service.readers.run(look_at_chart, LookJob("ph", path, name, strip=_where(places)))
        if seen.refused is not None:
            raise WrongStatement(seen.refused[0], retold(seen.refused[1]))
        sha256, size = await run_in_threadpool(kept, service, path)
    fields = [
        {"ph": place.ph, "pad": place.pad, "x_mm": x, "y_mm": y, "sha256": sha256, "file": name}
        for place, (x, y) in zip(places, seen.at_mm, strict=True)
    ]

    def act(c: Connection) -> CalibrationOut:
        from service.log.calibrations.kept import keep_photo  # noqa: PLC0415

        keep_photo(c, sha256, size)
        return with_chart(c, calibration, fields)

    return await run_in_threadpool(
        once.answer, SentChart(sha256=sha256, file=name, spots=places), CalibrationOut, act, 200
    )


def _where(places: list[ChartSpotIn | ChartPlaceIn]) -> dict[str, list[list[float]]]:
    on_card = [[p.x_mm, p.y_mm] for p in places if isinstance(p, ChartSpotIn)]
    return (
        {"at_mm": on_card}
        if on_card
        else {"at_share": [[p.across, p.down] for p in places if isinstance(p, ChartPlaceIn)]}
    )


@router.post("/{calibration}/run", status_code=202, response_model=RunOut, responses=responses(400, 404, 409, 413, 507))
async def work_out(calibration: CalibrationId, once: OnceDep) -> Response:
    """Work out the curve from the photos as they are now, beside everything else; ask for the draft to see how far."""
    service = once.service
    begun: list[tuple[int, LearnJob]] = []
    await run_in_threadpool(_fetched, service, calibration)

    def act(c: Connection) -> RunOut:
        begun.clear()
        draft = drafts.open_calibration(c, calibration)
        photos = drafts.photos_of(c, calibration)
        if not photos and not draft["chart"]:
            raise Conflict("nothing_to_learn", _("There is nothing to learn from yet: add photos at known pH."))
        run = runs.begin_run(c, calibration, [row["id"] for row in photos])
        begun.append((run, job_of(service, draft, photos, run)))
        row = runs.latest_run(c, calibration)
        assert row is not None
        return run_out(service.calibrating.progress, row)

    response = await run_in_threadpool(once.answer, Nothing(), RunOut, act, 202)
    for run, job in begun:
        service.calibrating.begin(run, job)
    return response


def _fetched(service: Service, calibration: int) -> None:
    """Have the photos on this computer, before the log is held for a run."""
    with service.database.read() as c:
        photos = drafts.photos_of(c, calibration)
    for row in photos:
        service.blobs.here(row["photo_sha256"])


@router.post("/{calibration}/cancel", response_model=RunOut | None, responses=responses(404, 507))
async def cancel(calibration: CalibrationId, service: ServiceDep) -> Any:  # noqa: ANN401
    """Stop working out the curve; the draft stays as it is."""
    run = await run_in_threadpool(_latest, service, calibration)
    if run is not None and run["state"] == "running":
        await service.calibrating.cancel(run["id"])
        run = await run_in_threadpool(_latest, service, calibration)
    return None if run is None else run_out(service.calibrating.progress, run)


@router.post("/{calibration}/next", responses=responses(404, 409))
async def next_best(calibration: CalibrationId, body: AtHand, service: ServiceDep) -> NextBest:
    """Which of the liquids at hand would lessen the newest curve's doubt most, or that it is enough."""
    unknown = [key for key in body.liquids if key not in liquids()]
    if unknown:
        raise WrongStatement(
            "which_liquid", _("There is no liquid {name} in the table of liquids.", name=repr(unknown[0]))
        )
    text = await run_in_threadpool(_curve_text, service, calibration)
    job = NextJob(text, tuple(body.liquids), body.temperature_c, spoken())
    found, advice = await service.calibrating.do(next_job, job)
    return NextBest(advice=advice, gains=[Gain(**gain) for gain in found])


@router.get(
    "/{calibration}/curve.png",
    response_class=Response,
    responses={**responses(404), 200: {"content": {"image/png": {}}}},
)
async def curve_picture(calibration: CalibrationId, service: ServiceDep) -> Response:
    """The newest curve as a picture: each pad's colours over pH, and the curve's doubt."""

    picture = await service.calibrating.do(picture_job, await run_in_threadpool(_curve_text, service, calibration))
    return Response(picture, media_type="image/png")


def _curve_text(service: Service, calibration: int) -> str:
    """The profile that the newest run led to."""
    with service.database.read() as c:
        drafts.known_calibration(c, calibration)
        return versions.text_of(c, runs.known_result(c, calibration)["profile_sha256"])


def _open_draft(service: Service, calibration: int) -> drafts.Row:
    with service.database.read() as c:
        return drafts.open_calibration(c, calibration)


def _latest(service: Service, calibration: int) -> runs.Row | None:
    with service.database.read() as c:
        drafts.known_calibration(c, calibration)
        return runs.latest_run(c, calibration)
