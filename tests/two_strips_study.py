"""Two strips in the lane: `python -m tests.two_strips_study --gap 11 --n 30`: both read, and in the lane's order?"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path

import click
import numpy as np

from stripread.ph.profile import load_profile
from stripread.ph.read import trace_ph
from tests.scenes.demo import CARD, LOT
from tests.scenes.faults import second_strip
from tests.scenes.photo import render
from tests.scenes.scene import Scene, random_scene

PROFILE = Path(__file__).resolve().parents[1] / "service" / "demo" / "profile.toml"
LANE_MIDDLE_MM = 37.0


def pair(number: int, gap_mm: float) -> Scene:
    """Two strips with their middles so far apart, the upper one first."""
    rng = np.random.default_rng([number, 77])
    upper, lower = rng.uniform(1.0, 12.0, 2)
    scene = second_strip(random_scene(rng, "four", float(upper), lot_seed=LOT, **CARD), float(lower), rng)
    one, two = scene.strips
    half = gap_mm / 2.0
    apart = (replace(one, y_mm=LANE_MIDDLE_MM - half), replace(two, y_mm=LANE_MIDDLE_MM + half))
    return replace(scene, strips=apart, size=(1512, 1134))


@click.command()
@click.option("--gap", default=11.0, help="Between the strips' middles, mm.")
@click.option("--n", default=30)
@click.option("--first", default=0)
def main(gap: float, n: int, first: int) -> None:
    """Print how many photos gave both strips, in order, and why not."""
    profile = load_profile(PROFILE)
    found: Counter[str] = Counter()
    errors = []
    for number in range(first, first + n):
        scene = pair(number, gap)
        trace = trace_ph(render(scene).data, profile, str(number))
        strips = trace.reading.strips
        if len(strips) == 2 and all(strip.ph is not None for strip in strips):
            middles = [float(strip.strip.outline_mm[:, 1].mean()) for strip in trace.strips]
            found["both, in order" if middles[0] < middles[1] else "both, order exchanged"] += 1
            errors += [abs(strip.ph - laid.strip.ph) for strip, laid in zip(strips, scene.strips, strict=True)]
        else:
            codes = sorted({r.code for r in trace.reading.reasons if r.severity == "refuse"})
            found[f"{len(strips)} found: {', '.join(codes) or trace.reading.status}"] += 1
    for what, count in found.most_common():
        print(f"{count:4d}  {what}")
    print(f"mean error of both {np.mean(errors):.3f}")


if __name__ == "__main__":
    main()
