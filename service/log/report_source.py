"""What a batch's report rests on, taken from the log."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

from sqlalchemy import Connection, inspect

from service.bench.ledger.ledger import Ledger
from service.bench.notes import as_corrected
from service.bench.readings import logged
from service.bench.state import State
from service.bench.washing.phases import WashForecast, phases
from service.bench.washing.waters import WATER
from service.log import store
from service.log.chain.links import head
from service.log.course.forecast import forecast_from, forecast_of, wash_readings
from service.log.course.standing import corrected
from service.log.course.state import batch_state
from service.log.course.vessels import batch_ledger
from service.log.notes import damaged_notes, notes_of
from service.moments import in_zone, zone_words
from service.report.batch_record import BatchRecord, RecordedReading
from stripread import __version__
from stripread.errors import CallError
from stripread.words import _, say

WORTH = 3  # washes: from the third reading on a forecast is worth holding against what came


def batch_record(c: Connection, batch: int, thumbnails: dict[str, bytes]) -> BatchRecord:
    """A batch as its report shows it; ``thumbnails`` by the photo's SHA-256.

    Raises
    ------
    CallError
        If there is no such batch.
    """
    row = store.batch(c, batch)
    if row is None:
        raise CallError(_("there is no batch {batch}", batch=batch))
    local = partial(in_zone, zone=row["zone"])
    state = batch_state(c, batch)
    shown = replace(state, moves=tuple(replace(move, at=local(move.at)) for move in state.moves))
    rows = store.entries_of(c, batch)
    newer = corrected(rows)
    details = row["details"]
    readings = tuple(
        RecordedReading(
            r["id"],
            r["moment"].local,
            logged(r["reading"]),
            r["wash"],
            r["note"],
            thumbnails.get(r["photo_sha256"]),
            r["corrects_id"],
            newer.get(r["id"]),
            r["why"],
            r["made_by"],
            withdrawn=bool(r["extras"].get("withdrawn")),
            asked=bool(r["extras"].get("asked")),
            blank=r["id"] == details.get("blank_entry"),
            told=r["moment"].told,
            logged_at=local(r["received_at"]),
        )
        for r in rows
    )
    water = say(WATER.get(str(details.get("water", "unknown")), WATER["unknown"]))
    if details.get("alkalinity_mmol_l") is not None:
        water += _(", {alkalinity_mmol_l:g} mmol/L", alkalinity_mmol_l=details["alkalinity_mmol_l"])
    return BatchRecord(
        batch,
        row["name"],
        local(row["opened_at"]),
        None if row["closed_at"] is None else local(row["closed_at"]),
        f"stripread {__version__}",
        shown,
        readings,
        tuple(replace(note, at=local(note.at)) for note in as_corrected(notes_of(c, batch))),
        water,
        forecasts(c, row, rows, state),
        state.band,
        _head(c),
        tuple((note.id, local(note.at)) for note in damaged_notes(c, batch)),
        zone_words(row["zone"], row["opened_at"], *(r["moment"].at for r in rows), row["closed_at"]),
        _ledger(c, batch, local),
    )


def _ledger(c: Connection, batch: int, local: Callable[[str], str]) -> Ledger | None:
    """The batch's vessels, their times in its zone; None where it has no silver yet."""
    if not inspect(c).has_table("lot_links"):
        return None  # a log of an older form
    found = batch_ledger(c, batch)
    if found.inputs_g[2] <= 0.0:
        return None
    return replace(found, vessels=tuple(replace(one, at=local(one.at) if one.at else "") for one in found.vessels))


def _head(c: Connection) -> tuple[int, str] | None:
    """Number and hash of the chain's newest link; None for a log of the older form, opened without writing."""
    if not inspect(c).has_table("chain"):
        return None
    newest = head(c)
    return newest.n, newest.link


def forecasts(c: Connection, row: store.Row, rows: list[store.Row], state: State) -> tuple[WashForecast, ...]:
    """One forecast for each washing of the batch: as it stood after the third wash, or the newest if it goes on."""
    readings, blank = wash_readings(c, row, rows)
    procedure = state.procedure
    found = []
    washings = phases(readings)
    for place, (washing, _unused) in enumerate(washings):
        numbers = sorted({reading.wash for reading in washing})
        if not numbers:
            continue
        ended = place < len(washings) - 1
        band = procedure.band(procedure.stages[0].id) if ended else state.band
        forecast = None if ended else forecast_of(c, row, rows, band)
        last = numbers[-1]
        if forecast is None or forecast.status == "done":
            if len(numbers) < WORTH:
                continue
            last = numbers[WORTH - 1]
            until = tuple(reading for reading in readings if reading.wash <= last)
            forecast = forecast_from(row["details"], until, blank, band)
        if forecast.curve:
            found.append(
                replace(forecast, message=_("After wash {last}: {message}", last=last, message=forecast.message))
            )
    return tuple(found)
