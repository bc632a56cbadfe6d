"""How many washes are still to come: a number with its interval, or "cannot tell" with its reason.

The state is acid minus alkalinity, never a line through pH: hard water jumps from pH 2 to 7 in one wash, distilled
water bends to 5.6. See ``posterior`` for the model and ``hypotheses`` for the waters.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr

from service.bench.chemistry.water import Array, RinseWater
from service.bench.readings import look_twice
from service.bench.stages.gate_kinds import NEUTRAL
from service.bench.washing.course import course, plausible_water, side
from service.bench.washing.hypotheses import Hypothesis, hypotheses, look_up
from service.bench.washing.posterior import JITTER, MOST_WASHES, Cells, Prior, log_residue, update
from service.bench.washing.reading import Reading
from service.bench.washing.stalls import Wash, stall
from stripread.words import _, _n, say

LEVEL = 0.90
TOLERANCE = 0.5  # pH: "the same as the rinse water" for a strip; common practice, no source
FINE = 0.1  # washes
# pH of a water of which nothing is known: a room's air over pure, to hard and aired (tests/data/wash_dilution.csv).
UNKNOWN_WATER = (5.4, 8.8)
OUTSIDE = 0.025  # chance of done that is left where the whole 95 % interval of the newest reading lies outside
TOO_WIDE = 10.0  # washes between the interval's ends: nobody can plan by that


@dataclass(frozen=True)
class Range:
    """A median with its 90 % interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Forecast:
    """What is to come.

    ``washes`` counts from the last reading, in parts of a wash; ``whole`` is what to plan for. ``curve`` holds one
    (wash, pH, low, high) for each past and coming wash. ``status`` is ok, done, stalled or cannot tell.
    """

    status: str
    sentence: str
    last_wash: int
    kind: str
    washes: Range | None = None
    whole: tuple[int, int, int] | None = None  # median, low, high in whole washes
    share: Range | None = None
    start: Range | None = None
    residue: Range | None = None  # mol/L after the last reading
    done_now: float | None = None  # chance that the last liquid was already neutral
    water_ph: Range | None = None
    curve: tuple[tuple[int, float, float, float], ...] = ()


def forecast(
    readings: list[Reading],
    water: RinseWater | None = None,
    blank: tuple[float, tuple[float, float]] | None = None,
    *,
    prior: Prior | None = None,
    kind: str = "auto",
    band: tuple[float, float] = NEUTRAL,
) -> Forecast:
    """Forecast the washes to come from two readings or more.

    Parameters
    ----------
    readings
        In any order; several of one wash count together.
    water
        The rinse water, or None if unknown (then it is weighed by the blank and the readings).
    blank
        The rinse water's own reading, pH and 95 % interval.
    prior
        What is thought of the retained share and the start before any reading.
    kind
        "acid", "lye", or "auto": whichever side the readings lie on.
    band
        The pH that the gate calls neutral.
    """
    last = max((r.wash for r in readings), default=0)
    sign = _side(readings, kind)
    name = "acid" if sign > 0 else "lye"
    checked = course(readings, None if water is None else water.alkalinity)
    if checked.questions:
        return Forecast("cannot tell", checked.questions[0].sentence, last, name)
    wrong_blank = ""
    if blank is not None and not plausible_water(blank[1]):
        wrong_blank = _(
            " The rinse water's own pH {blank_0:.1f} is no plausible water and does not count: read it again.",
            blank_0=blank[0],
        )
        blank = None
    if len({r.wash for r in readings}) < 2:
        return Forecast("cannot tell", _("Read the pH after two different washes or more."), last, name)
    if all(r.bound for r in readings):
        text = _("Every reading stands at the end of the strip's range: use a strip of a wider range, or wash on.")
        return Forecast("cannot tell", text, last, name)
    waters = hypotheses(water, sign)
    own = None if blank is None else (blank[0], Reading(0, blank[0], blank[1]).sd)
    cells = update([(r.wash, r.limit, r.sd, r.bound) for r in readings], waters, prior or Prior(), own)
    goals = np.asarray([h.log_target(sign, TOLERANCE, band) for h in waters])[cells.hypothesis]
    ahead, chance = _chance_done(cells, goals, last)
    newest = checked.newest()[-1]
    outside = _outside(newest, sign, band, _own_ph(water, blank) if water is not None or blank is not None else None)
    found = Forecast(
        "ok",
        "",
        last,
        name,
        share=_range(cells.share, cells.weight),
        start=_range(10.0**cells.log_start, cells.weight),
        residue=_range(10.0 ** (_last(cells, last)), cells.weight),
        done_now=min(float(chance[0]), OUTSIDE) if outside else float(chance[0]),
        water_ph=_range(np.asarray([h.own_ph for h in waters])[cells.hypothesis], cells.weight),
        curve=_curve(cells, waters, last, ahead, chance),
    )
    washes = [Wash(r.wash, r.ph, r.interval) for r in sorted(readings, key=lambda r: r.wash) if r.bound == 0]
    if standing := stall(washes, "acid" if sign > 0 else "lye", _own_ph(water, blank)):
        return replace(found, status="stalled", sentence=standing.sentence + wrong_blank)
    judged = _verdict(found, cells, ahead, chance)
    if judged.whole is not None and judged.whole[0] == 0 and judged.status in ("ok", "done"):
        judged = _not_yet(judged, newest, outside)
    return replace(judged, sentence=judged.sentence + wrong_blank)


def _outside(newest: Reading, sign: int, band: tuple[float, float], own: tuple[float, float] | None) -> bool:
    """Whether all of the newest reading's interval is still this side of neutral, and of the rinse water's own pH."""
    if sign > 0:
        goal = band[0] if own is None else min(band[0], own[0] - TOLERANCE)
        return newest.interval[1] < goal and newest.bound <= 0
    goal = band[1] if own is None else max(band[1], own[1] + TOLERANCE)
    return newest.interval[0] > goal and newest.bound >= 0


def _not_yet(found: Forecast, newest: Reading, outside: bool) -> Forecast:
    """Done, or probably so, only where the newest reading itself says so."""
    if outside:
        text = _(
            "{at_start} lies outside neutral, though the others say it should be done: wash on and read once more.",
            at_start=newest.at_start,
        )
        return replace(found, status="cannot tell", sentence=text, washes=None, whole=None)
    if newest.doubtful:
        text = _(
            "{at_start} {says}: read it again before you call it done.", at_start=newest.at_start, says=look_twice()
        )
        return replace(found, status="cannot tell", sentence=text, washes=None, whole=None, done_now=None)
    return found


def _own_ph(water: RinseWater | None, blank: tuple[float, tuple[float, float]] | None) -> tuple[float, float]:
    """The rinse water's own pH, low and high: as read, else fresh and aired as named, else anything water may have."""
    if blank is not None:
        return blank[1]
    if water is None:
        return UNKNOWN_WATER
    fresh, aired = water.ph(0.0), water.ph(1.0)
    return min(fresh, aired), max(fresh, aired)


def _side(readings: list[Reading], kind: str) -> int:
    if kind in ("acid", "lye"):
        return 1 if kind == "acid" else -1
    if kind != "auto":
        raise ValueError(_("kind is acid, lye or auto, not {kind!r}", kind=kind))
    return side(readings)


def _last(cells: Cells, last: int) -> Array:
    return log_residue(cells.share, cells.log_start, cells.bleed, cells.slow, last) + cells.mean


def _chance_done(cells: Cells, goals: Array, last: int) -> tuple[Array, Array]:
    """Further washes (A,) in steps of FINE and P(neutral within them); log residue linear between whole washes."""
    n = np.arange(MOST_WASHES + 1.0)
    path = log_residue(
        cells.share[:, None], cells.log_start[:, None], cells.bleed[:, None], cells.slow[:, None], last + n
    )
    path = goals[:, None] - path - cells.mean[:, None]  # how far below the goal, (C, 41)
    sd = np.sqrt(cells.var[:, None] + JITTER**2 * n)
    whole = cells.weight @ ndtr(path / sd)
    # Fine steps only where the answer is still open: this is where the time goes.
    end = min(MOST_WASHES, int(np.searchsorted(whole, 0.97)) + 1)
    ahead = np.arange(0.0, end + FINE / 2, FINE)
    index = np.minimum(ahead.astype(int), end - 1)
    part = ahead - index
    x = path[:, index] * (1.0 - part) + path[:, index + 1] * part
    chance = cells.weight @ ndtr(x / np.sqrt(cells.var[:, None] + JITTER**2 * ahead))
    return ahead, np.maximum.accumulate(chance)


def _range(values: Array, weight: Array) -> Range:
    order = np.argsort(values)
    total = np.cumsum(weight[order])
    low, mid, high = np.interp([0.05, 0.5, 0.95], total - 0.5 * weight[order], values[order])
    return Range(float(mid), float(low), float(high))


def _curve(
    cells: Cells, waters: tuple[Hypothesis, ...], last: int, ahead: Array, chance: Array
) -> tuple[tuple[int, float, float, float], ...]:
    """PH of each wash: median and 90 % band, up to a little beyond the likely end."""
    end = last + min(12, int(np.ceil(float(np.interp(0.95, chance, ahead)))) + 1)
    tables = np.stack([water.table for water in waters])
    rows = []
    for n in range(end + 1):
        # Before the last reading only the last deviation is known; the band there is the model's, not a smoother's.
        x = log_residue(cells.share, cells.log_start, cells.bleed, cells.slow, n)
        x = x + cells.mean * min(1.0, n / max(last, 1))
        sd = np.sqrt(cells.var + JITTER**2 * max(0, n - last))
        # Three points stand for each cell's normal.
        values = [look_up(tables, cells.hypothesis, x + step * sd) for step in (-1.2816, 0.0, 1.2816)]
        weights = [cells.weight * part for part in (0.3, 0.4, 0.3)]
        band = _range(np.concatenate(values), np.concatenate(weights))
        rows.append((n, band.value, band.low, band.high))
    return tuple(rows)


def _verdict(found: Forecast, cells: Cells, ahead: Array, chance: Array) -> Forecast:
    """Number, interval and sentence, or the reason why there is none."""
    doubt = _doubt(found, cells, chance)
    if doubt:
        return replace(found, status="cannot tell", sentence=doubt)
    low, mid, high = (float(np.interp(q, chance, ahead)) if chance[0] < q else 0.0 for q in (0.05, 0.5, 0.95))
    steps = chance[:: round(1 / FINE)]
    few, most, many = (int(np.argmax(steps >= q)) for q in (0.05, 0.5, 0.95))
    planned = replace(found, washes=Range(mid, low, high), whole=(most, few, many))
    if many == 0:
        text = _("The last liquid reads neutral or like the rinse water; no further wash is needed for pH.")
        return replace(planned, status="done", sentence=text)
    if high - low > TOO_WIDE:
        text = _(
            "Somewhere between {few} and {many} more washes: too wide to plan by; one more reading narrows it.",
            few=few,
            many=many,
        )
        return replace(planned, status="cannot tell", sentence=text)
    if most == 0:
        text = _n(
            "Probably done ({chance:.0%}); read once more: at most {n} more wash to come.",
            "Probably done ({chance:.0%}); read once more: at most {n} more washes to come.",
            many,
            chance=chance[0],
        )
    else:
        span = f"{most}" if few == many else _("{most} ({few} to {many})", most=most, few=few, many=many)
        text = _n(
            "{span} more wash until the pH is neutral or the rinse water's own.",
            "{span} more washes until the pH is neutral or the rinse water's own.",
            many,
            span=span,
        )
    return replace(planned, sentence=text)


def _doubt(found: Forecast, cells: Cells, chance: Array) -> str:
    """Why no number can be given, or nothing."""
    if cells.surprise > 3.0:
        return _("The readings do not fall as a wash does; check the wash numbers and read once more.")
    if found.share is not None and found.share.low > 0.45:
        return _(
            "The pH hardly moves from wash to wash; stir the solid up in each wash, or look for what gives off {kind}.",
            kind=say(found.kind),
        )
    if chance[-1] < 0.95:
        return _("It may take more than {most_washes} washes; wash with more water.", most_washes=MOST_WASHES)
    return ""
