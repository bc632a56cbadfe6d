"""Batches of the log in figures that can stand beside each other."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import Connection

from service.bench.notes import DecantNote, contents, in_force
from service.bench.state import State, batch_vessel
from service.bench.washing.decant import retained_share
from service.bench.washing.phases import phases
from service.errors import NotFound
from service.log import store
from service.log.course.forecast import wash_readings
from service.log.course.state import batch_state, observations
from service.log.entry_cache import slim_rows
from service.log.notes import notes_of
from service.log.report_source import forecasts
from service.report.comparison import MOST, BatchFigures, Comparison, WashPoint, by_step
from stripread.errors import CallError
from stripread.words import SOURCE, _, speaking


def compare(c: Connection, numbers: Sequence[int]) -> Comparison:
    """These batches beside each other, in this order.

    Raises
    ------
    CallError
        For fewer than two, more than ``MOST``, or the same one twice.
    NotFound
        If there is no such batch.
    """
    if len(set(numbers)) != len(numbers):
        raise CallError(_("name each batch once"))
    if not 2 <= len(numbers) <= MOST:
        raise CallError(_("name two to {most} batches to compare, not {count}", most=MOST, count=len(numbers)))
    with speaking(SOURCE):  # steps are names in JSON and CSV; the table tells them again
        return Comparison(tuple(_figures(c, number) for number in numbers))


def _figures(c: Connection, number: int) -> BatchFigures:
    row = store.batch(c, number)
    if row is None:
        raise NotFound("no_such_batch", _("There is no batch {number}.", number=number))
    state, rows, notes = batch_state(c, number), slim_rows(c, number), notes_of(c, number)
    counting = in_force(notes)
    decants = contents(counting, DecantNote)
    readings, _blank = wash_readings(c, row, rows)
    times = [o.at for o in observations(c, row, rows)] + [n.at for n in counting if n.kind != "procedure"]
    read = sum(len({r.wash for r in washing}) for washing, _unused in phases(readings))
    poured = sum(1 for decant in decants if decant.wash_number is not None)
    litres = [decant.litres for decant in decants]
    found = state.balance
    return BatchFigures(
        number=number,
        name=row["name"],
        closed=row["closed_at"] is not None,
        stage=state.stage.title,
        washes=max(read, poured),
        hours=_hours(times),
        water_l=round(sum(litres), 6) if litres else None,
        share_held_back=_share(c, row, rows, state),
        share_by_volume=_by_volume(batch_vessel(counting).retained_l, litres),
        expected_g=None if found is None else found.expected_g,
        weighed_g=None if found is None or found.weighed_g is None else found.weighed_g[1],
        yield_share=None if found is None else found.share,
        losses_g=() if found is None else by_step(found.losses),
        points=tuple(WashPoint(r.part, r.wash, r.ph, *r.interval) for r in readings),
    )


def _hours(times: list[str]) -> float | None:
    """Hours between the first and the last of these times; None for fewer than two."""
    read = sorted(datetime.fromisoformat(at) for at in times)
    return round((read[-1] - read[0]).total_seconds() / 3600.0, 2) if len(read) > 1 else None


def _share(c: Connection, row: store.Row, rows: list[store.Row], state: State) -> tuple[float, float, float] | None:
    """The share that the readings of the first washing tell, as its forecast fits it."""
    for forecast in forecasts(c, row, rows, state):
        if forecast.retained_share is not None and forecast.retained_interval is not None:
            low, high = forecast.retained_interval
            return low, forecast.retained_share, high
    return None


def _by_volume(retained_l: float | None, litres: list[float]) -> float | None:
    mean = sum(litres) / len(litres) if litres else 0.0
    if retained_l is None or retained_l <= 0 or mean <= 0:
        return None
    return round(retained_share(retained_l, mean), 4)
