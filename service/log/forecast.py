"""The wash forecast of a batch: which readings enter it, and the rinse water that the user named."""

from __future__ import annotations

import threading
from collections import OrderedDict
from functools import lru_cache
from typing import Any
from weakref import WeakKeyDictionary

from sqlalchemy import Connection, Engine

from service.log.entry_cache import BATCHES, slim_rows
from service.log.notes import neutral_band
from service.log.store import Row, in_force, last_entry

Pair = tuple[float, float]
Counted = tuple[int, float, Pair, int]
Blank = tuple[float, Pair]

_kept: WeakKeyDictionary[Engine, OrderedDict[int, tuple[object, dict[str, Any]]]] = WeakKeyDictionary()
_one = threading.Lock()  # one forecast is worked out at a time: the cores are for reading photos


def forecast_now(c: Connection, batch: Row) -> dict[str, Any]:
    """The forecast of a batch as its log stands. Worked out only when an entry is new: the page asks often."""
    band = neutral_band(c, batch["id"])
    rests_on = (last_entry(c, batch["id"]), batch["details"], band)
    kept = _kept_of(c.engine).get(batch["id"])
    if kept is not None and kept[0] == rests_on:
        return kept[1]
    with _one:
        of_log = _kept_of(c.engine)
        kept = of_log.get(batch["id"])
        if kept is None or kept[0] != rests_on:  # else another request worked it out while this one waited
            kept = (rests_on, forecast_of(batch, slim_rows(c, batch["id"]), band))
            of_log[batch["id"]] = kept
            of_log.move_to_end(batch["id"])
            if len(of_log) > BATCHES:
                of_log.popitem(last=False)
    return kept[1]


def _kept_of(engine: Engine) -> OrderedDict[int, tuple[object, dict[str, Any]]]:
    """Of each batch of this log the newest forecast, and what it rests on."""
    return _kept.setdefault(engine, OrderedDict())


def forecast_of(batch: Row, rows: list[Row], band: Pair) -> dict[str, Any]:
    """The forecast for these entries of a batch towards the pH ``band`` called neutral, JSON-ready."""
    readings, blank = counted_of(batch, rows)
    if len({n for n, *_ in readings}) < 2:
        return _cannot("Two readings of different washes or more are needed for a forecast.")
    return told(batch["details"], readings, blank, band)


def told(details: Row, readings: tuple[Counted, ...], blank: Blank | None, band: Pair) -> dict[str, Any]:
    """The forecast that these readings give, with the rinse water as the batch's ``details`` name it."""
    return _forecast(readings, details.get("water"), details.get("alkalinity_mmol_l"), blank, band)


def counted_of(batch: Row, rows: list[Row]) -> tuple[tuple[Counted, ...], Blank | None]:
    """The pH readings of washes that count, and the rinse water's own reading if there is one."""
    details = batch["details"]
    counted = [r for r in in_force(rows) if r["kind"] == "ph" and r["value"] is not None and r["low"] is not None]
    blanks = [r for r in counted if r["id"] == details.get("blank_entry")]
    blank = (blanks[0]["value"], (blanks[0]["low"], blanks[0]["high"])) if blanks else None
    readings = tuple(
        (r["wash"], r["value"], (r["low"], r["high"]), _bound(r))
        for r in counted
        if r["wash"] is not None and r not in blanks
    )
    return readings, blank


def _bound(row: Row) -> int:
    """-1 where the strip's range ended and the pH is at most so much, 1 for at least, 0 for a value."""
    for reason in row["reading"].get("reasons", []):
        if reason.get("code") == "end_of_range":
            return -1 if "at most" in reason.get("message", "") else 1
    return 0


@lru_cache(maxsize=64)
def _forecast(
    readings: tuple[Counted, ...],
    water: str | None,
    alkalinity: float | None,
    blank: Blank | None,
    band: Pair,
) -> dict[str, Any]:
    """Cached: the page asks again and again, and the answer takes a while to work out."""
    from service.bench.washing.course import forecast, named_water  # noqa: PLC0415 - loads its tables when first needed

    return forecast(list(readings), named_water(water, alkalinity), blank, band).to_dict()


def _cannot(message: str) -> dict[str, Any]:
    return {"status": "cannot tell", "message": message, "washes": None, "interval": None, "level": 0.9}
