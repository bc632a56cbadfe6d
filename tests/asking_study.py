"""How often a right reading is asked about, and a wrong one: ``python -m tests.asking_study --batches 300``.

The batches are those of ``tests.forecast_study``: washed by other means than the forecast's model. Each reading is put
to the rule with the ones before it; then the newest with a slip: the pH of another vessel (lye among acid, acid among
lye), or the number of the wash before, within a minute of it.
"""

from __future__ import annotations

import argparse
from dataclasses import replace

import numpy as np

from service.bench.asking.readings import Bench, asked_of_reading
from service.bench.procedure import load_procedure
from service.bench.readings import LoggedPh, Observation
from service.bench.washing.phases import forecast
from service.bench.washing.reading import Reading
from tests.forecast_study import Batch, simulate


def observed(reading: Reading) -> Observation:
    """A reading of the study as the rule takes it."""
    found = LoggedPh(ph=reading.ph, interval=reading.interval)
    at = f"2026-05-12T{8 + reading.wash // 2:02d}:{30 * (reading.wash % 2):02d}:00+00:00"
    return Observation(at, found, reading.wash, strip_range=(0.0, 14.0), entry=reading.wash)


def asked(new: Observation, before: list[Reading], batch: Batch) -> list[str]:
    """Codes of what is asked, the forecast of the readings before it at hand."""
    stage = load_procedure("chloride_lye_sugar").stage("neutral-wash")
    alkalinity = None if batch.water is None else batch.water.alkalinity
    foretold = forecast(before, batch.water, batch.blank) if len(before) > 1 else None
    bench = Bench(stage, [observed(r) for r in before], None, alkalinity, foretold)
    return [question.code for question in asked_of_reading(new, bench)]


def main() -> None:
    """Print the shares."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--batches", type=int, default=300)
    parser.add_argument("--seed", type=int, default=5)
    said = parser.parse_args()
    rng = np.random.default_rng(said.seed)
    right: list[list[str]] = []
    slips: dict[str, list[bool]] = {"another vessel": [], "the wash before": []}
    for _ in range(said.batches):
        batch = simulate(rng)
        if batch is None or len(batch.readings) < 2:
            continue
        readings = [r for r in batch.readings if r.wash < 28]
        for k in range(1, len(readings)):
            right.append(asked(observed(readings[k]), readings[:k], batch))
        last = readings[-1]
        other = replace(last, ph=14.0 - readings[0].ph, interval=tuple(14.0 - x for x in readings[0].interval[::-1]))
        slips["another vessel"].append(bool(asked(observed(other), readings[:-1], batch)))
        if len(readings) > 1:
            soon = observed(readings[-2]).at.replace(":00+", ":59+")  # so that only the pH tells
            late = replace(observed(last), wash=readings[-2].wash, at=soon)
            slips["the wash before"].append(bool(asked(late, readings[:-1], batch)))
    print(f"right readings asked about: {sum(map(bool, right))} of {len(right)}")
    for code in sorted({code for codes in right for code in codes}):
        print(f"  {code}: {sum(code in codes for codes in right)}")
    for name, found in slips.items():
        print(f"{name}: asked about {sum(found)} of {len(found)}")


if __name__ == "__main__":
    main()
