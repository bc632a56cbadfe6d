"""A batch of the log as its report shows it."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection

from service.bench.state import State
from service.bench.washing.course import phases
from service.log import store
from service.log.forecast import counted_of, forecast_of, told
from service.log.notes import batch_state, notes_of
from service.report.batch_record import Filed, FiledReading
from stripread import __version__
from stripread.errors import CallError

TOLD_AFTER = 3  # washes: from the third reading on a forecast is worth holding against what came


def filed_batch(c: Connection, batch: int, thumbnails: dict[str, bytes]) -> Filed:
    """A batch as its report shows it; ``thumbnails`` by the photo's SHA-256.

    Raises
    ------
    CallError
        If there is no such batch.
    """
    row = store.batch(c, batch)
    if row is None:
        raise CallError(f"there is no batch {batch}")
    state = batch_state(c, batch)
    rows = store.entries_of(c, batch)
    newer = store.corrected(rows)
    details = row["details"]
    readings = tuple(
        FiledReading(
            r["id"],
            r["received_at"],
            r["kind"],
            r["wash"],
            r["reading"],
            r["note"],
            thumbnails.get(r["photo_sha256"]),
            r["corrects_id"],
            newer.get(r["id"]),
            r["why"],
            r["made_by"],
            withdrawn=bool(r["extras"].get("withdrawn")),
            blank=r["id"] == details.get("blank_entry"),
        )
        for r in rows
    )
    water = str(details.get("water", "unknown"))
    if details.get("alkalinity_mmol_l") is not None:
        water += f", {details['alkalinity_mmol_l']:g} mmol/L"
    return Filed(
        batch,
        row["name"],
        row["opened_at"],
        row["closed_at"],
        f"stripread {__version__}",
        state,
        readings,
        tuple(notes_of(c, batch)),
        water,
        forecasts(row, rows, state),
        state.band,
    )


def forecasts(row: store.Row, rows: list[store.Row], state: State) -> tuple[dict[str, Any], ...]:
    """One forecast for each washing of the batch: as it was told after the third wash, or the newest if it goes on."""
    counted, blank = counted_of(row, rows)
    procedure = state.procedure
    found = []
    washings = phases(counted)
    for place, (readings, _) in enumerate(washings):
        numbers = sorted({n for n, *_ in readings})
        ended = place < len(washings) - 1
        band = procedure.band(procedure.stages[0].id) if ended else state.band
        whole = {"status": "done"} if ended else forecast_of(row, rows, band)
        if not numbers:
            continue
        if whole["status"] == "done":
            if len(numbers) < TOLD_AFTER:
                continue
            last = numbers[TOLD_AFTER - 1]
            whole = told(row["details"], tuple(r for r in counted if r[0] <= last), blank, band)
        else:
            last = numbers[-1]
        if whole.get("curve"):
            found.append({**whole, "message": f"After wash {last}: {whole['message']}"})
    return tuple(found)
