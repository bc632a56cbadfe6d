"""The wash forecast of a batch: which readings enter it, and the rinse water that the user named."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from sqlalchemy import Connection

from service.store import Row, entries_of, in_force, last_entry

NEUTRAL = (5.5, 8.0)  # pH. Pure water in air has 5.6, not 7; drinking water is a little above 7
Counted = tuple[int, float, tuple[float, float], int]


_KEPT: dict[
    tuple[int, str], tuple[object, dict[str, Any]]
] = {}  # of each batch, the newest forecast and what it rests on


def forecast_now(c: Connection, batch: Row) -> dict[str, Any]:
    """The forecast of a batch as its log stands. Worked out only when an entry is new: the page asks often."""
    rests_on = (last_entry(c, batch["id"]), batch["details"])
    which = (batch["id"], batch["opened_at"])  # the time tells batches of different logs apart
    kept = _KEPT.get(which)
    if kept is None or kept[0] != rests_on:
        kept = (rests_on, forecast_of(batch, entries_of(c, batch["id"])))
        _KEPT[which] = kept
    return kept[1]


def forecast_of(batch: Row, rows: list[Row]) -> dict[str, Any]:
    """The forecast for these entries of a batch, JSON-ready."""
    details = batch["details"]
    counted = [r for r in in_force(rows) if r["kind"] == "ph" and r["value"] is not None and r["low"] is not None]
    blanks = [r for r in counted if r["id"] == details.get("blank_entry")]
    blank = (blanks[0]["value"], (blanks[0]["low"], blanks[0]["high"])) if blanks else None
    readings = tuple(
        (r["wash"], r["value"], (r["low"], r["high"]), _bound(r))
        for r in counted
        if r["wash"] is not None and r not in blanks
    )
    if len({n for n, *_ in readings}) < 2:
        return _cannot("Two readings of different washes or more are needed for a forecast.")
    return _forecast(readings, details.get("water"), details.get("alkalinity_mmol_l"), blank)


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
    blank: tuple[float, tuple[float, float]] | None,
) -> dict[str, Any]:
    """Cached: the page asks again and again, and the answer takes a while to work out."""
    from service.washing import forecast, named_water  # noqa: PLC0415 - loads its tables when first needed

    return forecast(list(readings), named_water(water, alkalinity), blank, NEUTRAL).to_dict()


def _cannot(message: str) -> dict[str, Any]:
    return {"status": "cannot tell", "message": message, "washes": None, "interval": None, "level": 0.9}
