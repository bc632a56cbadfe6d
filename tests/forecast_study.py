"""How good the wash forecast is: ``python -m tests.forecast_study`` (1,000 simulated batches, one to two minutes).

The batches are made by other means than the forecast's model: the solid's liquid sits in two places, a free part that
mixes with every wash and a part inside clots and paper that gives off a little each time; every wash is poured
differently; the strip misreads, in weak water more; the sample meets some air; the stated intervals are a little too
narrow or too wide. The truth is the number of further washes (in parts of one, log residue taken as linear between two)
until the liquid reads inside 6-8 or within 0.5 of the rinse water as the same user reads it.

Compared with the textbook: (6 - pH of the last reading) / -log10(nominal share). The nominal share is the user's
own volume over volume, which dead corners make too small by some 25 %.
"""

from __future__ import annotations

import argparse
import json
import math
from dataclasses import dataclass, replace

import numpy as np

from service.bench.chemistry.water import RinseWater, aired_water, liquid_ph, pure_water, tap_water
from service.bench.washing.forecast import forecast
from service.bench.washing.posterior import Prior
from service.bench.washing.reading import Reading

MOST = 60


@dataclass(frozen=True)
class Batch:
    """One simulated batch: what the user knows, what he reads, what is true."""

    readings: tuple[Reading, ...]
    truth: float  # washes from the first liquid until it reads neutral
    water: RinseWater | None  # as the user names it
    blank: tuple[float, tuple[float, float]] | None
    nominal: float
    sign: int


def simulate(rng: np.random.Generator) -> Batch | None:
    """Draw one batch; None when it needs more than MOST washes or less than 3."""
    sign = 1 if rng.random() < 0.8 else -1
    kind = rng.choice(["pure", "air", "tap"], p=[0.2, 0.3, 0.5])
    water = {
        "pure": pure_water(),
        "air": aired_water(),
        "tap": tap_water(rng.uniform(0.5e-3, 5e-3), rng.uniform(7.2, 7.9)),
    }[str(kind)]
    exchange = float(rng.choice([0.0, rng.uniform(0.0, 1.0), 1.0], p=[0.2, 0.6, 0.2]))
    share = float(np.clip(math.exp(rng.normal(math.log(0.13), 0.5)), 0.03, 0.4))
    start = float(10.0 ** rng.uniform(-1.3, 0.3))
    residues, fractions = _washes(rng, share, start)
    true_ph = liquid_ph(sign * residues, np.minimum(1.0, fractions), water, exchange)
    truth = _crossing(residues, fractions, water, (sign, exchange), true_ph)
    if truth is None or truth < 3.0:
        return None
    readings = tuple(_read(rng, n, float(true_ph[n])) for n in range(1, min(MOST, math.ceil(truth) + 1)))
    named = None if rng.random() < 0.3 else water
    if named is not None and kind == "tap":  # the user's figure for the alkalinity is 10 % off
        named = tap_water(water.alkalinity * float(rng.normal(1.0, 0.1)), 7.5)
    own = water.ph(exchange)
    blank_reading = _read(rng, 0, own)
    blank = (blank_reading.ph, blank_reading.interval) if rng.random() < 0.7 else None
    return Batch(readings, truth, named, blank, share / 1.25 * math.exp(rng.normal(0.0, 0.2)), sign)


def _washes(rng: np.random.Generator, share: float, start: float) -> tuple[np.ndarray, np.ndarray]:
    """Residue (mol/L) of the free liquid after each wash, and the share of the first liquid in it; (MOST + 1,)."""
    hidden = float(rng.choice([0.0, rng.uniform(0.0, 0.15)]))  # clots and paper hold this much of the free volume
    gives = rng.uniform(0.3, 0.8)  # of the difference, in one wash
    free = held = 1.0
    levels = [1.0]
    for _ in range(MOST):
        free *= min(0.9, share * math.exp(rng.normal(0.0, 0.15)))
        passed = gives * hidden * (held - free) / (1.0 + hidden)
        free += passed * share  # the pore liquid goes into the whole filled-up volume
        held -= gives * (held - free)
        levels.append(free)
    levels_a = np.asarray(levels)
    return start * levels_a, levels_a


def _crossing(
    residues: np.ndarray, fractions: np.ndarray, water: RinseWater, how: tuple[int, float], ph: np.ndarray
) -> float | None:
    sign, exchange = how
    own = water.ph(exchange)
    goal = min(6.0, own - 0.5) if sign > 0 else max(8.0, own + 0.5)
    done = np.nonzero(sign * (ph - goal) >= 0)[0]
    if done.size == 0:
        return None
    n = int(done[0])
    if n == 0:
        return 0.0
    low, high = 0.0, 1.0
    for _ in range(30):
        part = 0.5 * (low + high)
        x = residues[n - 1] ** (1 - part) * residues[n] ** part
        f = fractions[n - 1] ** (1 - part) * fractions[n] ** part
        here = float(liquid_ph(sign * x, min(1.0, f), water, exchange))
        low, high = (low, part) if sign * (here - goal) >= 0 else (part, high)
    return n - 1 + high


def _read(rng: np.random.Generator, wash: int, ph: float) -> Reading:
    sd = float(rng.choice([0.08, 0.12, 0.2, 0.3]))
    bias = rng.normal(0.0, 0.15) if 4.0 < ph < 10.0 else 0.0  # dye and paper in weakly buffered water
    seen = float(np.clip(ph + bias + rng.normal(0.0, sd), 0.0, 14.0))
    stated = sd * rng.uniform(0.8, 1.25)
    return Reading(wash, round(seen, 2), (round(seen - 1.96 * stated, 2), round(seen + 1.96 * stated, 2)))


def textbook(last: Reading, nominal: float, sign: int) -> float:
    """Further washes by a line of slope -log10 share through the last reading, to 6 (acid) or 8 (lye)."""
    gap = 6.0 - last.ph if sign > 0 else last.ph - 8.0
    return max(0.0, gap) / -math.log10(min(0.9, nominal))


def slipped(rng: np.random.Generator, part: list[Reading]) -> list[Reading]:
    """The same readings with one slip: a wrong wash number, two swapped, another liquid, a strip far off."""
    place = int(rng.integers(0, len(part)))
    one, kind = part[place], str(rng.choice(["number", "swapped", "liquid", "strip"]))
    if kind == "swapped" and place:
        pair = [replace(part[place - 1], wash=one.wash), replace(one, wash=part[place - 1].wash)]
        return [*part[: place - 1], *pair, *part[place + 1 :]]
    if kind in ("number", "swapped"):
        wrong = replace(one, wash=int(rng.choice([10 + one.wash, 10 * one.wash, one.wash + 1, max(0, one.wash - 1)])))
    else:
        ph = float(rng.choice([0.3, 7.0, 13.0])) if kind == "liquid" else one.ph + float(rng.choice([-2.0, 2.0]))
        wrong = replace(one, ph=ph, interval=(ph - 0.3, ph + 0.3))
    return [*part[:place], wrong, *part[place + 1 :]]


def _with_slips(rows: list[tuple[str, bool, bool]]) -> dict[str, float]:
    """Figures of forecasts from readings with a slip: (status, interval covers, done told a wash or more early)."""
    told = [row for row in rows if row[0] not in ("cannot tell", "stalled")]
    return {
        "forecasts": len(rows),
        "asked back or cannot tell": round(1.0 - len(told) / max(1, len(rows)), 3),
        "90 % interval covers where told": round(float(np.mean([row[1] for row in told])), 3) if told else math.nan,
        "done or probably done, a wash or more to go": round(float(np.mean([row[2] for row in rows])), 4),
    }


def study(count: int = 1000, seed: int = 20) -> dict[str, object]:
    """Run ``count`` batches; figures by the number of readings, with and without the user's own volumes."""
    rng = np.random.default_rng(seed)
    rows: list[tuple[int, bool, str, float, float, float, float, float, int, int, int]] = []
    slips, slip_rng = [], np.random.default_rng(seed + 1)  # of their own, so that the other batches stay the same
    made = 0
    while made < count:
        batch = simulate(rng)
        if batch is None:
            continue
        made += 1
        last_useful = max(2, math.ceil(batch.truth) - 1)
        third_on = int(rng.integers(3, max(4, last_useful + 1)))
        for seen in (2, third_on):
            if seen > last_useful:
                continue
            told = bool(rng.random() < 0.5)
            prior = Prior(share=min(0.5, 1.25 * batch.nominal), share_ln_sd=0.4) if told else Prior()
            part = list(batch.readings[:seen])
            found = forecast(part, batch.water, batch.blank, prior=prior)
            rest = max(0.0, batch.truth - seen)
            if seen >= 3:
                wrong = forecast(slipped(slip_rng, part), batch.water, batch.blank, prior=prior)
                covers = wrong.washes is not None and wrong.washes.low <= rest <= wrong.washes.high
                early = wrong.status == "done" or (wrong.status == "ok" and (wrong.whole or (1,))[0] == 0)
                slips.append((wrong.status, covers, early and rest >= 1.0))
            line = textbook(part[-1], batch.nominal, batch.sign)
            w = found.washes
            whole = found.whole or (-1, -1, -1)
            rows.append((seen, told, found.status, rest, w.value if w else math.nan, w.low if w else math.nan,
                         w.high if w else math.nan, line, *whole))  # fmt: skip
    return {"batches": made, "two readings": _figures([r for r in rows if r[0] == 2]),
            "three readings or more": _figures([r for r in rows if r[0] >= 3]),
            "three or more, volumes not given": _figures([r for r in rows if r[0] >= 3 and not r[1]]),
            "three or more, one slip": _with_slips(slips)}  # fmt: skip


def _figures(rows: list) -> dict[str, float]:
    told = [r for r in rows if r[2] not in ("cannot tell", "stalled")]
    number = [r for r in rows if not math.isnan(r[4])]
    a = np.asarray([[r[3], r[4], r[5], r[6], r[7], r[8], r[9], r[10]] for r in number], float)
    rest, value, low, high, line, _, few, many = a.T
    whole = np.ceil(rest - 1e-9)
    b = np.asarray([[r[3], r[4], r[7]] for r in told], float)
    return {
        "forecasts": len(rows),
        "cannot tell": round(1 - len(told) / len(rows), 3),
        "90 % interval covers": round(float(np.mean((low - 1e-9 <= rest) & (rest <= high + 1e-9))), 3),
        "whole-wash interval covers": round(float(np.mean((few <= whole) & (whole <= many))), 3),
        "median |error|": round(float(np.median(np.abs(value - rest))), 3),
        "median |error| where told": round(float(np.median(np.abs(b[:, 1] - b[:, 0]))), 3),
        "mean |error| where told": round(float(np.mean(np.abs(b[:, 1] - b[:, 0]))), 3),
        "textbook median |error|": round(float(np.median(np.abs(line - rest))), 3),
        "textbook mean |error| where told": round(float(np.mean(np.abs(b[:, 2] - b[:, 0]))), 3),
        "off by more than 2 washes": round(float(np.mean(np.abs(value - rest) > 2)), 3),
        "textbook off by more than 2": round(float(np.mean(np.abs(line - rest) > 2)), 3),
        "median width": round(float(np.median(high - low)), 2),
    }


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="Coverage and error of the wash forecast on simulated batches.")
    parser.add_argument("--batches", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=20)
    options = parser.parse_args()
    print(json.dumps(study(options.batches, options.seed), indent=2))
