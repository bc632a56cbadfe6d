"""The photos that the demo's batch needs beside the demo's own: rinse water, copper checks, the solid, the last washes.

``python -m tests.scenes.demo_batch OUT`` writes them with ``truth.csv`` into OUT. The same card, lot of strips, phones
and lamps as in ``demo.py``.
"""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import click
import numpy as np

from tests.scenes.demo import CARD, CEILING, DESK, LOT, PHONES, TUBE, WINDOW, shot
from tests.scenes.light import Lamp
from tests.scenes.photo import render
from tests.scenes.scene import Scene, random_scene
from tests.scenes.solid import Solid, true_share, with_solid
from tests.scenes.vial import copper, random_pair, with_vials

LONG_SIDE = 1040
PATH_MM = 30.0

# name, pH, phone, lamps, number of the shot (its time of day)
STRIPS: tuple[tuple[str, float, int, tuple[Lamp, ...], int], ...] = (
    ("rinse-water", 6.4, 0, (WINDOW,), 200),
    ("lye-05", 9.1, 1, (TUBE,), 201),
    ("lye-06", 7.3, 2, (DESK, WINDOW), 202),
    ("lye-06-again", 7.3, 0, (WINDOW,), 203),
)
# name, copper in mg/L, lamps
TINTS: tuple[tuple[str, float, tuple[Lamp, ...]], ...] = (
    ("copper-check-01", 90.0, (WINDOW,)),
    ("copper-check-02", 14.0, (WINDOW, CEILING)),
    ("copper-check-04", 0.0, (CEILING,)),
    ("copper-check-05", 0.0, (CEILING,)),
)
# name, pale share, lamps
SOLIDS: tuple[tuple[str, float, tuple[Lamp, ...]], ...] = (
    ("solid-1", 0.22, (CEILING,)),
    ("solid-2", 0.04, (CEILING,)),
    ("solid-3", 0.0, (WINDOW,)),
    ("solid-4", 0.0, (WINDOW,)),
)
POWDERS = ("solid-4",)  # the washed silver powder


def bare(number: int, lamps: tuple[Lamp, ...], bench: int) -> Scene:
    """A card without a strip, from nearly above."""
    scene = random_scene(np.random.default_rng([2027, number]), "four", strips=(), lot_seed=LOT, **CARD,
                         phone_seed=PHONES[bench], lamps=lamps)  # fmt: skip
    return replace(
        scene,
        size=(LONG_SIDE, LONG_SIDE * 3 // 4),
        bench=("wood", "tiles", "grey")[bench],
        bench_seed=bench,
        quality=80,
        tilt_deg=min(scene.tilt_deg, 10.0),
        curvature=0.0,
        fill=max(scene.fill, 0.8),
    )


def scenes() -> list[tuple[str, str, float, Scene]]:
    """(name, kind, truth, scene) of each photo."""
    made: list[tuple[str, str, float, Scene]] = []
    for name, ph, phone, lamps, number in STRIPS:
        made.append((name, "ph", ph, shot(number, ph, phone, lamps, None, LONG_SIDE)))
    for number, (name, milligrams, lamps) in enumerate(TINTS):
        scene = bare(number, lamps, number % 2)
        rng = np.random.default_rng([2028, number])
        dyes = (copper(milligrams, PATH_MM),) if milligrams else ()
        made.append((name, "tint", milligrams, with_vials(scene, *random_pair(rng, dyes, PATH_MM))))
    for number, (name, pale, lamps) in enumerate(SOLIDS):
        silver = 0.97 if name in POWDERS else 0.0
        solid = Solid(pale=pale, grain_mm=0.4, dark=0.045, bright=0.75, brown=0.3, rough=0.15, radius_mm=10.5,
                      silver=silver, seed=2029 + number)  # fmt: skip
        made.append((name, "solid", true_share(solid), with_solid(bare(50 + number, lamps, 1), solid)))
    return made


@click.command()
@click.argument("out", type=click.Path(path_type=Path))
def main(out: Path) -> None:
    """Render the photos into OUT."""
    out.mkdir(parents=True, exist_ok=True)
    with (out / "truth.csv").open("w", newline="", encoding="utf-8") as file:
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(["photo", "kind", "truth"])
        for name, kind, truth, scene in scenes():
            (out / f"{name}.jpg").write_bytes(render(scene).data)
            rows.writerow([f"{name}.jpg", kind, f"{truth:.4g}"])


if __name__ == "__main__":
    main()
