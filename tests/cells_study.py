"""Matched cells: `python -m tests.cells_study --n 60`: what a second photo does for pairs of vials that are not alike.

Each pair differs by glass of its own (brightness 1.5 %, colour 0.6 %, as outside measurements assume; nobody measured
vials). Read alone, with a cell blank, and swapped; with nothing in the sample, and with copper near the limit.
`--lamps`: how far the card's colours move from a photo to its second one, under the same lamps and under others.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace

import click
import numpy as np

from stripread.errors import Refused
from stripread.tint.cells import LAMP_APART, SecondPhoto, lamp_shift
from stripread.tint.read import TintRequest, TintTrace, measure_cells, measure_tint, trace_tint
from tests.scenes import Scene, render
from tests.scenes.measured import World
from tests.scenes.scene import random_lamps
from tests.scenes.vessels import with_vessels
from tests.scenes.vial import Dye, Vial, copper, random_pair
from tests.tint_cases import tint_scene

BRIGHT_SD, COLOUR_SD = 0.015, 0.006
PATHS_MM = (10.0, 20.0, 30.0)


def glass(rng: np.random.Generator) -> dict[str, object]:
    """The glass of one vial: a grey factor, and three faint broad bands whose sizes scatter by ``COLOUR_SD``."""
    # Both vials get some of each band, so that one can hold less than the other; light passes twice, and vials are two.
    size = COLOUR_SD / (2.0 * np.log(10.0) * np.sqrt(2.0))
    bands = tuple(Dye(float(max(0.0, 3.0 * size + rng.normal(0.0, size))), nm, 7000.0) for nm in (450.0, 540.0, 620.0))
    return {"dyes": bands, "light": float(1.0 + rng.normal(0.0, BRIGHT_SD / np.sqrt(2.0)))}


@dataclass(frozen=True)
class Pair:
    """Two vials of one pair under one light: depth in mm, scene, the sample's vial with nothing in it, the blank's."""

    path_mm: float
    scene: Scene
    sample: Vial
    blank: Vial

    def shot(self, left: Vial, right: Vial, turn: int) -> bytes:
        """One photo; ``turn`` tells the photos of a pair apart: the hand and the noise are others."""
        again = replace(self.scene, shot_seed=self.scene.shot_seed + turn, roll_deg=self.scene.roll_deg + 1.5 * turn)
        return render(with_vessels(again, left, right)).data

    def filled(self, dye: Dye) -> Vial:
        """The sample's vial with copper in it."""
        return replace(self.sample, dyes=(*self.sample.dyes, dye))


def pair_of(number: int, world: World = "made-up", *, alike: bool = False) -> Pair:
    """The pair of this number. alike: of the same glass."""
    rng = np.random.default_rng([21, number])
    path = float(rng.choice(PATHS_MM))
    scene = tint_scene(rng, path, world)
    sample, blank = random_pair(rng, (), path)
    one, two = (replace(vial, **glass(rng)) for vial in (sample, blank))  # type: ignore[arg-type]
    if alike:
        one, two = (replace(vial, dyes=(), light=1.0) for vial in (one, two))
    return Pair(path, scene, one, two)


def photos(number: int, mg_per_l: float) -> tuple[float, dict[str, bytes]]:
    """Depth in mm and the photos of one pair: the reading's own, its cell blank, and the vials swapped."""
    pair = pair_of(number)
    filled = pair.filled(copper(mg_per_l, pair.path_mm)) if mg_per_l else pair.sample
    return pair.path_mm, {
        "photo": pair.shot(filled, pair.blank, 0),
        "blank": pair.shot(pair.sample, pair.blank, 1),
        "swapped": pair.shot(pair.blank, filled, 2),
    }


def reading(data: dict[str, bytes], path: float, how: str):
    """The trace of the pair's photo, read alone ("none") or with the second photo of that name."""
    second: SecondPhoto | None = None if how == "none" else measure_cells(data[how], how)  # type: ignore[arg-type]
    return trace_tint(data["photo"], TintRequest(path_mm=path, cells=second))


def lamps(number: int) -> tuple[float, float] | None:
    """How far the card's colours move (natural log) under the same lamps and under others; None for a bad photo."""
    rng = np.random.default_rng([22, number])
    scene = tint_scene(rng, 20.0)
    pair = random_pair(rng, (), 20.0)
    others = random_lamps(rng)
    again = replace(scene, shot_seed=scene.shot_seed + 1, roll_deg=scene.roll_deg + 1.5)
    shots = (scene, again, replace(again, lamps=others))
    try:
        one, same, other = (measure_tint(render(with_vessels(s, *pair)).data, TintTrace()).patches for s in shots)
    except Refused:
        return None
    moved = lamp_shift(one, same), lamp_shift(one, other)
    return None if moved[0] is None or moved[1] is None else (moved[0], moved[1])


@click.command()
@click.option("--n", default=30)
@click.option("--first", default=0)
@click.option("--lamps", "by_lamp", is_flag=True, help="Only how far the card's colours move under another lamp.")
def main(n: int, first: int, by_lamp: bool) -> None:
    """Print decisions, limits and coverage, by how the cells were measured."""
    if by_lamp:
        found = np.array([pair for number in range(first, first + n) if (pair := lamps(number)) is not None])
        for name, moved in zip(("the same lamps", "other lamps"), found.T, strict=True):
            print(f"{name}: {(moved > LAMP_APART).sum()} of {len(moved)} doubted; median {np.median(moved):.4f}, "
                  f"95 in 100 below {np.quantile(moved, 0.95):.4f}")  # fmt: skip
        return
    rows: dict[tuple[str, float], list] = {}
    for number in range(first, first + n):
        for mg in (0.0, 8.0):
            path, data = photos(number, mg)
            for how in ("none", "blank", "swapped"):
                rows.setdefault((how, mg), []).append((path, reading(data, path, how)))
    for (how, mg), some in rows.items():
        told = [(path, t.reading) for path, t in some if t.reading.status != "refused"]
        kinds = Counter(r.decision for _, r in told)
        limits = {p: [r.detection_limit for q, r in told if q == p and r.detection_limit] for p in PATHS_MM}
        middle = ", ".join(f"{p:.0f} mm {np.median(v):.1f}" for p, v in limits.items() if v)
        held = [r.interval[0] <= mg <= r.interval[1] for _, r in told if r.interval]
        used = Counter(r.cells for _, r in told)
        states = Counter(r.status for _, r in told)
        print(f"cells {how:8s} {mg:4.1f} mg/L: {dict(kinds)} {dict(states)} used {dict(used)}; limit {middle}; "
              f"held {np.mean(held):.3f} of {len(held)}")  # fmt: skip


if __name__ == "__main__":
    main()
