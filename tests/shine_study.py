"""A spot of shine on one pad: `python -m tests.shine_study --n 320`: is a pad with a part left out read less well?

One lamp mirrored on one pad of a strip, small to large and faint to bright, under strangers' phones and lamps.
Behind ``GLARE_DOUBT`` in `stripread/strip/find.py`.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import click
import numpy as np

from stripread.ph.profile import load_profile
from stripread.ph.read import trace_ph
from tests.scenes.demo import CARD, LOT
from tests.scenes.photo import render
from tests.scenes.scene import Glare, Scene, random_scene

PROFILE = Path(__file__).resolve().parents[1] / "service" / "demo" / "profile.toml"
BANDS = (0.0, 0.02, 0.12, 0.3, 0.5, 0.7)  # of a pad


def shining(number: int) -> Scene:
    """The scene of this number, its true pH in it."""
    rng = np.random.default_rng([number, 991])
    scene = random_scene(rng, "four", float(rng.uniform(1.0, 12.0)), lot_seed=LOT, **CARD)
    strip = scene.strips[0]
    along = 5.0 + 7.0 * int(rng.integers(4))  # a pad's middle from the dipped end, mm
    turn = np.radians(strip.angle_deg)
    x = strip.x_mm + along * np.cos(turn) + rng.normal(0.0, 0.8)
    y = strip.y_mm + along * np.sin(turn) + rng.normal(0.0, 0.8)
    glare = Glare((float(x), float(y)), float(rng.uniform(1.0, 3.0)), float(10 ** rng.uniform(-0.7, 0.5)))
    return replace(scene, glare=(glare,), size=(1512, 1134))


@click.command()
@click.option("--n", default=320)
@click.option("--first", default=0)
def main(n: int, first: int) -> None:
    """Print error and coverage by the largest share of a pad that was left out for shine."""
    profile = load_profile(PROFILE)
    rows, refused = [], 0
    for number in range(first, first + n):
        scene = shining(number)
        trace = trace_ph(render(scene).data, profile, str(number))
        reading = trace.reading
        if reading.ph is None or reading.interval is None:
            refused += 1
            continue
        share = max(pad.glare for pad in trace.first.strip.pads)
        held = reading.interval[0] <= scene.ph <= reading.interval[1]
        rows.append((share, abs(reading.ph - scene.ph), held))
    found = np.array(rows)
    print(f"{n} photos, {refused} refused")
    for low, high in pairwise(BANDS):
        some = found[(found[:, 0] >= low) & (found[:, 0] < high)]
        if len(some):
            error, worst, held = some[:, 1].mean(), some[:, 1].max(), some[:, 2].mean()
            told = f"mean error {error:.3f}, largest {worst:.3f}, held {held:.1%}"
            print(f"left out {low:.0%} to {high:.0%}: {len(some):4d}  {told}")


if __name__ == "__main__":
    main()
