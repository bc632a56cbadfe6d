"""How well a profile from the maker's chart alone reads: `python -m tests.chart_accuracy --kind four`.

Once with the chart photographed on the card (two photos), once from a table of the swatches' Lab with a card of unknown
print. The chart is off by its own printing, as charts are.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

import numpy as np

from calibration.learn import learn
from stripread.ph.read import read_ph
from tests.scenes import kind as strip_kind
from tests.scenes import random_scene, render
from tests.scenes.chart import chart_scene


def write_chart(folder: Path, kind: str, setup: int, photographed: bool) -> Path:
    """The chart as a table, with its photos beside it where it was photographed."""
    rows = ["ph,pad,photo,x_mm,y_mm" if photographed else "ph,pad,L,a,b"]
    for n in range(2 if photographed else 1):
        rng = np.random.default_rng([setup, n])
        scene, swatches = chart_scene(rng, kind=kind, printer_seed=setup, sheet_seed=setup)
        if photographed:
            (folder / f"chart{n}.jpg").write_bytes(render(scene).data)
            rows += [f"{s.ph},{s.pad},chart{n}.jpg,{s.x_mm:.2f},{s.y_mm:.2f}" for s in swatches]
        else:
            rows += [f"{s.ph},{s.pad},{s.lab[0]:.2f},{s.lab[1]:.2f},{s.lab[2]:.2f}" for s in swatches]
    path = folder / "chart.csv"
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def study(kind: str, setups: int, reads: int, photographed: bool) -> str:
    errors, covered, refused = [], [], 0
    for setup in range(setups):
        with tempfile.TemporaryDirectory() as folder:
            profile = learn(strip_kind(kind), chart=write_chart(Path(folder), kind, setup, photographed)).profile
        for draw in range(reads):
            rng = np.random.default_rng([setup, draw, 3 if photographed else 4])
            scene = random_scene(rng, kind=kind, printer_seed=setup, sheet_seed=setup)
            got = read_ph(render(scene).data, profile)
            if got.ph is None or got.interval is None:
                refused += 1
                continue
            errors.append(abs(got.ph - scene.ph))
            covered.append(got.interval[0] <= scene.ph <= got.interval[1])
    what = "chart photographed" if photographed else "table of Lab"
    return (
        f"{kind}, {what}: mean |error| {np.mean(errors):.3f}, coverage {np.mean(covered):.0%}, "
        f"{len(errors)} read, {refused} refused"
    )


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    ask.add_argument("--kind", default="four")
    ask.add_argument("--setups", type=int, default=3)
    ask.add_argument("--reads", type=int, default=10)
    given = ask.parse_args()
    for photographed in (True, False):
        print(study(given.kind, given.setups, given.reads, photographed), flush=True)


if __name__ == "__main__":
    main()
