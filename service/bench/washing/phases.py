"""The washings of a batch, one after the other, and the forecast of the last: readings in, one flat answer out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

from service.bench.chemistry.water import RinseWater, aired_water, pure_water, tap_water
from service.bench.stages.gate_kinds import NEUTRAL
from service.bench.washing.course import course
from service.bench.washing.forecast import Forecast
from service.bench.washing.forecast import forecast as bench_forecast
from service.bench.washing.reading import Reading
from stripread.words import _

NEWEST_OF_A_WASH = 8  # more readings of one wash tell hardly more: their errors are mostly shared
LEVEL = 0.90
Pair = tuple[float, float]


@dataclass(frozen=True)
class CurvePoint:
    """The pH of one wash, past or to come: its median and 90 % band."""

    wash: int
    ph: float
    low: float
    high: float


@dataclass(frozen=True)
class WashForecast:
    """Washes to come after the last reading.

    ``status`` is "ok", "done", "stalled" or "cannot tell"; ``message`` one sentence. ``washes`` and its 90 %
    ``interval`` are in parts of a wash, ``whole`` in whole washes (median, low, high); None when it cannot be told.
    ``curve`` is one point for each wash, to draw. ``retained_share`` is the fitted share with its interval. ``kind`` is
    "acid" or "lye", empty where there was too little to fit anything.
    """

    status: str
    message: str
    washes: float | None = None
    interval: Pair | None = None
    whole: tuple[int, int, int] | None = None
    level: float = LEVEL
    kind: str = ""
    retained_share: float | None = None
    retained_interval: Pair | None = None
    done_chance: float | None = None
    water_ph: float | None = None
    curve: tuple[CurvePoint, ...] = ()


def named_water(name: str | None, alkalinity_mmol_l: float | None = None) -> RinseWater | None:
    """Rinse water by the name the user picked: pure, air, tap (with its alkalinity), unknown or None.

    Raises
    ------
    ValueError
        For another name. Tap water without its alkalinity counts as unknown.
    """
    if name in (None, "", "unknown") or (name == "tap" and alkalinity_mmol_l is None):
        return None
    if name == "tap" and alkalinity_mmol_l is not None:
        return tap_water(alkalinity_mmol_l / 1000.0)
    if name == "pure":
        return pure_water()
    if name == "air":
        return aired_water()
    raise ValueError(_("the rinse water is pure, air, tap or unknown, not {name!r}", name=name))


def forecast(
    readings: Sequence[Reading],
    water: RinseWater | None = None,
    blank: tuple[float, Pair] | None = None,
    band: Pair = NEUTRAL,
) -> WashForecast:
    """Forecast of the present washing; needs two different washes or more to say a number.

    ``water`` None means unknown; ``blank`` is the rinse water's own reading, pH and 95 % interval, if there is one;
    ``band`` the pH called neutral.
    """
    checked = course(readings, None if water is None else water.alkalinity)
    if checked.questions:
        return WashForecast("cannot tell", checked.questions[0].sentence)
    phase, before = counting(readings)
    found = bench_forecast([replace(r, wash=r.wash - before) for r in phase], water, blank, band=band)
    return _flat(found, before)


def counting(readings: Sequence[Reading]) -> tuple[list[Reading], int]:
    """Readings that a forecast rests on: of the present washing, and of each wash the newest, which come last."""
    phase, before = latest_phase(readings)
    left: Counter[int] = Counter()
    newest = []
    for reading in reversed(phase):
        left[reading.wash] += 1
        if left[reading.wash] <= NEWEST_OF_A_WASH:
            newest.append(reading)
    return newest[::-1], before


def latest_phase(readings: Sequence[Reading]) -> tuple[list[Reading], int]:
    """Readings of the last washing, and the number of washes before it."""
    return phases(readings)[-1]


def phases(readings: Sequence[Reading]) -> list[tuple[list[Reading], int]]:
    """Readings of each washing in turn, and the number of washes before it.

    A batch is washed more than once: free of acid, then, after the lye, free of lye. The batch's notes say where a new
    washing began (``Reading.part``), never the pH alone: a drop of lye on a strip must not start the course anew.
    """
    parts = sorted({r.part for r in readings})
    found = [course([r for r in readings if r.part <= part]) for part in parts]
    return [(list(one.readings), one.before) for one in found] or [([], 0)]


def _flat(found: Forecast, before: int) -> WashForecast:
    tell = found.status != "cannot tell"
    washes = found.washes if tell else None
    share = found.share
    return WashForecast(
        status=found.status,
        message=found.sentence,
        washes=None if washes is None else round(washes.value, 2),
        interval=None if washes is None else (round(washes.low, 2), round(washes.high, 2)),
        whole=found.whole if tell else None,
        kind=found.kind,
        retained_share=None if share is None else round(share.value, 4),
        retained_interval=None if share is None else (round(share.low, 4), round(share.high, 4)),
        done_chance=None if found.done_now is None else round(found.done_now, 4),
        water_ph=None if found.water_ph is None else round(found.water_ph.value, 2),
        curve=tuple(CurvePoint(n + before, round(p, 2), round(a, 2), round(b, 2)) for n, p, a, b in found.curve),
    )
