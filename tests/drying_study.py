"""Simulated dryings against the forecast: ``python -m tests.drying_study --dryings 1000``.

The world is not the model's: after an even rate the falling one goes by a power of the water left near one, the oven
drifts from weighing to weighing, at night it is off or nearly so, the scale rounds and trembles. All of that is made up
(no source): real dryings are wanted. After each weighing from the third on the forecast is asked.
"""

from __future__ import annotations

from dataclasses import dataclass

import click
import numpy as np

from service.bench.drying.forecast import DryingForecast, drying_forecast
from service.bench.gates.weight import Weighing, within_of
from service.bench.stages.gate_kinds import WeightConstant

DAY_H, NIGHT_H = 9.0, 13.0
MOST = 14  # weighings of one drying


@dataclass(frozen=True)
class Drying:
    """One made-up drying: weighings, the water in it at each (g), hours dried by then, hours until it is dry."""

    weighings: tuple[Weighing, ...]
    water: tuple[float, ...]
    dried: tuple[float, ...]
    whole: float
    within: float
    paused: tuple[bool, ...]


@dataclass(frozen=True)
class Asked:
    """One forecast and the truth of that moment."""

    forecast: DryingForecast
    water: float
    dried: float
    whole: float
    within: float
    paused: bool

    @property
    def to_go(self) -> float:
        return max(0.0, self.whole - self.dried)


def _rate(water: float, at_turn: float, tau: float, power: float) -> float:
    """g/h that leave: even above the turn, then by a power of what is left."""
    return at_turn / tau * min(1.0, max(water, 0.0) / at_turn) ** power


def made_up(rng: np.random.Generator) -> Drying:
    dry = float(np.exp(rng.uniform(np.log(20.0), np.log(800.0))))
    wet = rng.uniform(0.15, 0.5)
    water = dry * wet / (1.0 - wet)
    at_turn = water * rng.uniform(0.3, 1.2)
    tau, power = float(np.exp(rng.uniform(np.log(0.3), np.log(3.0)))), rng.uniform(0.92, 1.1)
    step = float(rng.choice([0.01, 0.1] if dry < 100.0 else [0.01, 0.1, 1.0]))
    within = within_of(WeightConstant(), dry, step)
    every, night_rate = tau * rng.uniform(0.4, 1.1), rng.choice([0.0, 0.0, 0.03])
    clock = dried = since = 0.0
    weighings, left, hours, paused = [], [], [], []
    whole, night = np.inf, False
    while len(weighings) < MOST and (whole == np.inf or len(weighings) < 4 or rng.random() < 0.5):
        shown = np.round((dry + water + rng.normal(0.0, 0.5 * step)) / step) * step
        at = np.datetime64("2026-03-01T08:00:00") + np.timedelta64(int(clock * 3600), "s")
        weighings.append(Weighing(str(at), float(round(shown, 4)), None, "powder", False, step))
        left.append(water)
        hours.append(dried)
        paused.append(night)
        if since >= DAY_H:  # weighed, then off for the night, and weighed in the morning
            clock, since, night = clock + NIGHT_H, 0.0, True
            water -= min(water, night_rate * _rate(water, at_turn, tau, power) * NIGHT_H)
            continue
        drift, step_h = float(np.exp(rng.normal(0.0, 0.05))), every * rng.uniform(0.7, 1.4)
        parts = 200
        for part in range(parts):
            water -= drift * _rate(water, at_turn, tau, power) * step_h / parts
            if water <= within and whole == np.inf:
                whole = dried + (part + 1) / parts * step_h
        clock, dried, since = clock + step_h, dried + step_h, since + step_h
    ahead, more = water, dried
    while whole == np.inf:
        ahead -= _rate(ahead, at_turn, tau, power) * 0.01 * tau
        more += 0.01 * tau
        whole = more if ahead <= within else np.inf
    return Drying(tuple(weighings), tuple(left), tuple(hours), whole, within, tuple(paused))


def asked(drying: Drying) -> list[Asked]:
    found = []
    for n in range(3, len(drying.weighings) + 1):
        forecast = drying_forecast(drying.weighings[:n], drying.within)
        paused = any(drying.paused[:n])
        found.append(Asked(forecast, drying.water[n - 1], drying.dried[n - 1], drying.whole, drying.within, paused))
    return found


def study(dryings: int, seed: int = 0) -> list[Asked]:
    rng = np.random.default_rng(seed)
    return [one for _ in range(dryings) for one in asked(made_up(rng))]


def whole_near(one: Asked) -> bool:
    """Whether the whole time of drying was said within a fifth of the true one."""
    assert one.forecast.hours is not None
    return abs(one.forecast.hours[1] - one.to_go) <= 0.2 * one.whole


def figures(found: list[Asked]) -> dict[str, float]:
    """Shares over all forecasts of one study."""
    said = [one for one in found if one.forecast.status == "ok"]
    ranged = [one for one in found if one.forecast.hours is not None and one.forecast.status != "done"]
    done = [one for one in found if one.forecast.status == "done"]
    wet = [one for one in found if one.water > one.within]

    def share(true: list[bool]) -> float:
        return float(np.mean(true)) if true else float("nan")

    return {
        "forecasts": len(found),
        "still wet": len(wet),
        "a time said, of those still wet": share([one.forecast.status == "ok" for one in wet]),
        "cannot tell": share([one.forecast.status == "cannot tell" for one in found]),
        "a range only": share([one.forecast.status == "wide" for one in found]),
        "whole time within 20 %": share([whole_near(one) for one in said]),
        "the same after a night": share([whole_near(one) for one in said if one.paused]),
        "time to go within 20 %, over 1 h to go": share(
            [abs(one.forecast.hours[1] - one.to_go) <= 0.2 * one.to_go for one in said if one.to_go > 1.0]
        ),
        "hours inside their 90 % range": share(
            [one.forecast.hours[0] - 1e-9 <= one.to_go <= one.forecast.hours[2] + 1e-9 for one in ranged]
        ),
        "water inside its 90 % range": share(
            [one.forecast.water_g[0] <= one.water <= one.forecast.water_g[2] for one in ranged]
        ),
        "called dry": len(done),
        "called dry and no more than 1.5 times the tolerance in it": share(
            [one.water <= 1.5 * one.within for one in done]
        ),
    }


@click.command()
@click.option("--dryings", default=1000, show_default=True)
@click.option("--seed", default=0, show_default=True)
def main(dryings: int, seed: int) -> None:
    for name, value in figures(study(dryings, seed)).items():
        click.echo(f"{name:60} {value:.3f}" if isinstance(value, float) else f"{name:60} {value}")


if __name__ == "__main__":
    main()
