"""The wash forecast of a batch: which readings enter it, and the rinse water that the user named."""

from __future__ import annotations

import threading
from collections import OrderedDict
from dataclasses import replace
from functools import lru_cache
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

from sqlalchemy import Connection, Engine

from service.bench.gates.neutral import wash_reading
from service.bench.readings import LoggedPh
from service.bench.washing.parts import part_of
from service.bench.washing.reading import Reading
from service.bench.washing.water_beside import water_beside
from service.log.course.state import neutral_band, observations, unanswered, unreadable_in_force, washing_begins
from service.log.entry_cache import BATCHES, slim_rows
from service.log.store import Row, last_entry
from stripread.words import _, spoken

if TYPE_CHECKING:  # its tables load when first needed
    from service.bench.washing.phases import WashForecast

Pair = tuple[float, float]
Blank = tuple[float, Pair]
Key = tuple[int, str]  # a batch and a language

_kept: WeakKeyDictionary[Engine, OrderedDict[Key, tuple[object, WashForecast]]] = WeakKeyDictionary()
_one = threading.Lock()  # one forecast is worked out at a time: the cores are for reading photos


def forecast_now(c: Connection, batch: Row) -> WashForecast:
    """The forecast of a batch as its log stands. Worked out only when an entry is new: the page asks often."""
    band = neutral_band(c, batch["id"])
    rests_on = (last_entry(c, batch["id"]), batch["details"], batch["zone"], band, washing_begins(c, batch["id"]))
    key = (batch["id"], spoken())
    kept = _kept_of(c.engine).get(key)
    if kept is not None and kept[0] == rests_on:
        return kept[1]
    with _one:
        of_log = _kept_of(c.engine)
        kept = of_log.get(key)
        if kept is None or kept[0] != rests_on:  # else another request worked it out while this one waited
            kept = (rests_on, forecast_of(c, batch, slim_rows(c, batch["id"]), band))
            of_log[key] = kept
            of_log.move_to_end(key)
            if len(of_log) > BATCHES:
                of_log.popitem(last=False)
    return kept[1]


def _kept_of(engine: Engine) -> OrderedDict[Key, tuple[object, WashForecast]]:
    """Of each batch of this log the newest forecast in each language, and what it rests on."""
    return _kept.setdefault(engine, OrderedDict())


def forecast_of(c: Connection, batch: Row, rows: list[Row], band: Pair) -> WashForecast:
    """The forecast for these entries of a batch towards the pH ``band`` called neutral."""
    from service.bench.washing.phases import WashForecast  # noqa: PLC0415 - loads its tables when first needed

    readings, blank = wash_readings(c, batch, rows)
    if len({reading.wash for reading in readings}) < 2:
        text = _("Two readings of different washes or more are needed for a forecast.")
        return WashForecast("cannot tell", text)
    found = forecast_from(batch["details"], readings, blank, band)
    return _not_done_over(found, unreadable_in_force(rows), unanswered(rows))


def _not_done_over(forecast: WashForecast, damaged: list[int], asked: list[int]) -> WashForecast:
    """No forecast says that washing is done over a reading that can't be read, or waits for an answer; it names it."""
    if not damaged and not asked:
        return forecast
    lost = _(
        "Not counted, since the log's rows can't be read: reading {damaged}.",
        damaged=", ".join(str(n) for n in damaged),
    )
    waits = _("Not counted until its question is answered: reading {asked}.", asked=", ".join(str(n) for n in asked))
    if not damaged and forecast.status != "done":
        return replace(forecast, message=f"{forecast.message} {waits}")
    if not damaged:
        return type(forecast)("cannot tell", _("The others would say that washing is done. {waits}", waits=waits))
    if forecast.status != "done":
        return replace(forecast, message=f"{forecast.message} {lost}")
    done = _("The readable rows would say that washing is done. {lost} Wash and read again.", lost=lost)
    return type(forecast)("cannot tell", done)


def forecast_from(details: Row, readings: tuple[Reading, ...], blank: Blank | None, band: Pair) -> WashForecast:
    """The forecast that these readings give, with the rinse water as the batch's ``details`` name it."""
    return _forecast(readings, details.get("water"), details.get("alkalinity_mmol_l"), blank, band, spoken())


def wash_readings(c: Connection, batch: Row, rows: list[Row]) -> tuple[tuple[Reading, ...], Blank | None]:
    """The pH readings of washes that count, and the rinse water's own reading if there is one.

    A reading at an end of its strip's range counts as a bound; left out is one whose profile is lost, so that nobody
    can say which end.
    """
    begins = washing_begins(c, batch["id"])
    seen = [o for o in observations(c, batch, rows) if isinstance(o.reading, LoggedPh)]
    blanks = [o.reading for o in seen if o.blank and isinstance(o.reading, LoggedPh) and not o.reading.doubtful]
    if not blanks and isinstance(beside := water_beside(seen), LoggedPh):
        blanks = [beside]
    blank = next(((b.ph, b.interval) for b in blanks if b.ph is not None and b.interval is not None), None)
    found = [wash_reading(replace(o, part=part_of(o.at, begins))) for o in seen if not o.blank]
    return tuple(reading for reading in found if reading is not None), blank


@lru_cache(maxsize=64)
def _forecast(
    readings: tuple[Reading, ...],
    water: str | None,
    alkalinity: float | None,
    blank: Blank | None,
    band: Pair,
    _language: str,
) -> WashForecast:
    """Cached, for each language: the page asks again and again, and the answer takes a while to work out."""
    from service.bench.washing.phases import forecast, named_water  # noqa: PLC0415 - loads its tables when first needed

    return forecast(readings, named_water(water, alkalinity), blank, band)
