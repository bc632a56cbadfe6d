"""Readings over HTTP: send a photo, look at what came of it, correct it, read a batch again."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, File, Form, Path, Query, Response, UploadFile
from fastapi.responses import JSONResponse, StreamingResponse

from service.bench.typed_fields import Typed
from service.log import store
from service.log.correction import Correction
from service.log.entries import file_name, shown
from service.log.fields import MAX_ID, Text, TypedPh, Wash
from service.log.listing import json_list, pieces
from service.log.taken import Teller
from service.log.timeline.correcting import correct_entry
from service.readers.intake import Submission
from service.readers.reread import Reread, reread_batch
from service.readers.statement import StripStatement
from service.readers.taking import Taking, taking_of
from service.readers.worker import Kind
from service.web.components import Service, ServiceDep
from service.web.once import Key, OnceDep
from service.web.problems import ServiceProblem, responses
from service.web.routes.batches import BatchId
from service.web.schemas import LogEntry
from stripread.errors import CallError
from stripread.tint.conditions import dilution_of
from stripread.words import _

router = APIRouter(prefix="/api", tags=["readings"], responses=responses(401, 403, 421, 422, 429, 500, 503))
EntryId = Annotated[int, Path(ge=1, le=MAX_ID, examples=[1])]
YesNo = Literal["yes", "no", "unknown"]
Liquid = Literal["acid", "neutral", "unknown"]
Softness = Literal["soft", "hard", "unknown"]
Matching = Literal["blank", "swapped"]
Length = Annotated[float, Typed("path_mm")]
Dilution = Annotated[float, Typed("dilution")]
Millilitres = Annotated[float, Typed("ml")]
AddedMillilitres = Annotated[float, Typed("added_ml")]
Drops = Annotated[int, Typed("drops", whole=True)]
Warmth = Annotated[float, Typed("temp_c")]


@router.post("/batches/{batch}/readings", response_model=LogEntry, responses=responses(400, 404, 408, 409, 413, 507))
async def send_photo(
    *,
    batch: BatchId,
    service: ServiceDep,
    photo: Annotated[UploadFile, File(description="The photo as the phone made it.")],
    kind: Annotated[Kind, Form(description="What the photo shows.")] = "ph",
    wash: Annotated[Wash | None, Form(description="Number of the wash that it belongs to.")] = None,
    note: Annotated[Text, Form(max_length=2000)] = "",
    path_mm: Annotated[Length | None, Form(description="Depth of the liquid of a tint, mm.")] = None,
    ammonia_excess: Annotated[
        YesNo, Form(description="Whether a tint smelled of ammonia, or a strip said so.")
    ] = "unknown",
    liquid: Annotated[Liquid, Form(description="The tested liquid of a tint before the ammonia.")] = "unknown",
    ammonia_ph: Annotated[TypedPh | None, Form(description="A strip's pH on a tint's ammoniated drop.")] = None,
    flakes: Annotated[YesNo, Form(description="Whether pale flakes float in a tint's drop.")] = "unknown",
    water: Annotated[Softness, Form(description="The rinse water of a tint.")] = "unknown",
    dilution: Annotated[
        Dilution | None, Form(description="A tint's volume after acid and ammonia over the sample's own.")
    ] = None,
    sample_ml: Annotated[
        Millilitres | None, Form(description="Instead: a tint's sample before anything was added, mL ...")
    ] = None,
    drops: Annotated[Drops, Form(description="... the drops of ammonia and acid added ...")] = 0,
    added_ml: Annotated[AddedMillilitres | None, Form(description="... and what else was added, mL.")] = None,
    profile: Annotated[
        Text | None, Form(max_length=200, description="Name of the strip's profile; the service's first if not given.")
    ] = None,
    dipped_at: Annotated[
        Text | None,
        Form(
            max_length=40,
            description="When a strip was dipped: seconds before the photo, or the phone's clock then (10:04:30, or "
            "with the date, ISO 8601).",
        ),
    ] = None,
    temperature_c: Annotated[Warmth | None, Form(description="Of the sample of a strip, °C.")] = None,
    rinse: Annotated[bool, Form(description="The liquid is rinse water: warn where it has no buffer.")] = False,
    blank_entry: Annotated[
        int | None,
        Form(ge=1, le=MAX_ID, description="The rinse water's own pH reading in this batch: do the two still differ?"),
    ] = None,
    beside: Annotated[
        Text | None,
        Form(
            max_length=40,
            description="Two strips in the lane: what the lower one was dipped in. A pH (7.0), a buffer and its "
            "temperature (phosphate 22 C), or water: the rinse water itself.",
        ),
    ] = None,
    matching: Annotated[
        Matching,
        Form(
            description="What a photo of the kind `cells` shows, which measures a pair of vials: both with the same "
            "blank in the same windows, or a tint's two liquids with the vials exchanged (swapped)."
        ),
    ] = "blank",
    cells_entry: Annotated[
        int | None,
        Form(ge=1, le=MAX_ID, description="A tint's vials as measured by this earlier entry (of the kind `cells`)."),
    ] = None,
    vials_changed: Annotated[
        bool, Form(description="Vials or their places were changed since that entry's photo: then it is left out.")
    ] = False,
    snapped_at: Annotated[
        Text | None, Form(max_length=40, description="When it was taken by the phone's clock, ISO 8601, in its zone.")
    ] = None,
    who: Annotated[Text | None, Form(max_length=100, description="Who took it.")] = None,
    confirm: Annotated[bool, Form(description="It counts as it is, whatever would be asked about it first.")] = False,
    snapped_by: Annotated[
        Teller,
        Form(
            description="Whose time `snapped_at` is: the phone's clock at the photo (phone), the file's own (file), or "
            "when it was chosen, for want of a better one (upload). The last two go after EXIF."
        ),
    ] = "phone",
    idempotency_key: Key = None,
) -> Response:
    """Read a photo and log it. A refused photo is logged too and answered 200: it is part of the story.

    Send the same `Idempotency-Key` when you send again; the first answer comes back, and nothing is logged twice. The
    same photo in the same batch within a minute is taken for sent again, too.
    """
    strip = kind == "ph"
    if strip and beside and blank_entry is not None:
        text = _("beside compares two strips in one photo, blank_entry two photos: send one of the two.")
        raise ServiceProblem(422, "invalid_request", _("The request does not fit: {text}", text=text))
    diluted = dilution
    if dilution is None and sample_ml is not None and (drops or added_ml is not None):
        diluted = round(dilution_of(sample_ml, drops, added_ml or 0.0), 4)
    tint = kind == "tint"
    taking: Taking = {"matching": matching} if kind == "cells" else {}
    if tint:
        taking = taking_of(
            wash=liquid,
            water=water,
            ammonia_excess=ammonia_excess,
            ammonia_ph=ammonia_ph,
            flakes=flakes,
            dilution=diluted,
        )
    try:
        said = (
            StripStatement(
                dipped_at or None, temperature_c, rinse or blank_entry is not None, snapped_at or None, beside or None
            )
            if strip
            else StripStatement()
        )
    except CallError as wrong:
        raise ServiceProblem(422, "invalid_request", _("The request does not fit: {wrong}.", wrong=wrong)) from None
    sent = Submission(
        batch,
        kind,
        file_name(photo.filename),
        wash=wash,
        note=note,
        path_mm=path_mm,
        taking=taking,
        snapped_at=snapped_at or None,
        snapped_by=snapped_by,
        profile=(profile or None) if strip else None,
        said=said,
        blank_entry=blank_entry if strip else None,
        cells_entry=cells_entry if tint else None,
        vials_changed=vials_changed and tint and cells_entry is not None,
        who=who or None,
        confirm=confirm,
        key=idempotency_key,
    )
    taken = await service.intake.take(sent, photo.file)
    headers = {"Location": f"/api/readings/{taken.entry_id}"}
    if taken.repeated:
        headers["Idempotency-Replayed"] = "true"
    # Sent as the log has it. It was made by the code whose form the model describes; tests hold them together.
    return JSONResponse(taken.entry, headers=headers)


@router.get("/batches/{batch}/readings", response_model=list[LogEntry], responses=responses(404))
def list_readings(
    batch: BatchId,
    service: ServiceDep,
    after: Annotated[int, Query(ge=0, le=MAX_ID, description="Only entries after this one.")] = 0,
    limit: Annotated[int | None, Query(ge=1, le=10_000)] = None,
) -> Response:
    """The entries of a batch in the order in which they came; corrections are entries of their own.

    An entry never changes but for `corrected_by`, which a later entry's `corrects` tells: ask for what is new with
    `after`.
    """
    with service.database.read() as c:
        store.known_batch(c, batch)
    # In pieces, as the log has them, like the answer to a photo.
    return StreamingResponse(json_list(pieces(service.database, batch, after, limit)), media_type="application/json")


@router.get("/readings/{entry}", response_model=LogEntry, responses=responses(404))
def show_reading(entry: EntryId, service: ServiceDep) -> Any:  # noqa: ANN401
    """One entry."""
    return _show(service, entry)


@router.post(
    "/readings/{entry}/corrections",
    status_code=201,
    response_model=LogEntry,
    responses=responses(400, 404, 409, 413, 507),
)
def correct_reading(entry: EntryId, body: Correction, once: OnceDep) -> Response:
    """Correct, withdraw, undo, or answer what is asked: adds an entry that names the old one, who and why.

    The old one stays and is shown with it. Send again with the same `Idempotency-Key`, and the first answer comes back.
    """
    return once.answer(body, LogEntry, lambda c: correct_entry(c, entry, body), 201)


@router.post("/batches/{batch}/reread", responses=responses(404, 507))
async def read_again(
    batch: BatchId,
    service: ServiceDep,
    keep: Annotated[bool, Query(description="Log what changed as new entries; else only say it.")] = False,
) -> Reread:
    """Read a batch's photos again with this version and the profiles of then, and say what changed."""
    return await reread_batch(service, batch, keep)


def _show(service: Service, entry: int) -> dict[str, Any]:
    with service.database.read() as c:
        row = store.known_entry(c, entry)
        return shown(row, store.corrector(c, entry))
