"""Causes of a tint's error switched off one at a time: `python -m tests.window_study.causes --n 12`.

Pairs of vials with nothing in them, in the measured world: each is photographed with every cause on, with one off, and
with all off, read alone and with a cell blank. What is told is the linear estimate of the absorbance, which is nothing.
The photos are two thirds as wide as the other studies', which costs half the time and changes none of the causes.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click
import cv2
import numpy as np
from numpy.typing import NDArray

from stripread.errors import Refused
from stripread.tint.cells import SecondPhoto, matched
from stripread.tint.estimate import estimate_tint
from stripread.tint.read import TintTrace, measure_tint
from tests.cells_study import Pair, pair_of
from tests.scenes.measured import WORLDS, World
from tests.scenes.scene import CAUSES
from tests.window_study.tables import table

HAZE = 0.03  # the sample's, at most: share of light scattered back before it reaches the paper
ALL = (*CAUSES, "haze", "glass")
VARIANTS = {
    "all on": frozenset[str](),
    **{f"without {cause}": frozenset({cause}) for cause in ALL},
    "all off": frozenset(ALL),
}


def signals(number: int, without: frozenset[str], world: World) -> tuple[float, float] | None:
    """Absorbance read of a pair with nothing in it, alone and with a cell blank; None where a photo was refused."""
    pair: Pair = pair_of(number, world, alike="glass" in without)
    wide, high = pair.scene.size
    pair = replace(pair, scene=replace(pair.scene, without=without & set(CAUSES), size=(wide * 2 // 3, high * 2 // 3)))
    haze = 0.0 if "haze" in without else float(np.random.default_rng([26, number]).uniform(0.0, HAZE))
    hazy = replace(pair.sample, haze=haze)
    try:
        sample = measure_tint(pair.shot(hazy, pair.blank, 0), TintTrace())
        second = measure_tint(pair.shot(pair.sample, pair.blank, 1), TintTrace())
    except Refused:
        return None
    both = matched(sample, SecondPhoto("blank", second))[0]
    return estimate_tint(sample).signal, estimate_tint(both).signal


def told(found: NDArray[np.float64], basis: NDArray[np.float64]) -> tuple[str, ...]:
    """Root mean square of signals (N, 2) in thousandths, and what part of the basis' variance is gone, of both ways."""
    size, whole = (np.sqrt(np.mean(some**2, axis=0)) for some in (found, basis))
    gone = 1.0 - (size / whole) ** 2
    return tuple(f"{1000 * s:.1f} ({100 * g:+.0f} %)" for s, g in zip(size, gone, strict=True))


@click.command()
@click.option("--n", default=12, show_default=True, help="Pairs.")
@click.option("--first", default=60_000, show_default=True)
@click.option("--world", type=click.Choice(WORLDS), default="choosing", show_default=True)
@click.option("--keep", type=click.Path(path_type=Path), help="A file of what was read, to go on with.")
def main(n: int, first: int, world: World, keep: Path | None) -> None:
    """Print the table."""
    cv2.setNumThreads(1)
    known: dict[tuple[int, str], tuple[float, float]] = {}
    if keep is not None and keep.exists():
        for line in keep.read_text(encoding="utf-8").splitlines():
            number, name, alone, blank = line.split(",")
            known[int(number), name] = float(alone), float(blank)
    for number in range(first, first + n):
        for name, without in VARIANTS.items():
            if (number, name) in known:
                continue
            got = signals(number, without, world) or (float("nan"), float("nan"))
            known[number, name] = got
            if keep is not None:
                with keep.open("a", encoding="utf-8") as file:
                    file.write(f"{number},{name},{got[0]},{got[1]}\n")
    whole = [k for k in range(first, first + n) if all(np.isfinite(known[k, name]).all() for name in VARIANTS)]
    found = {name: np.array([known[k, name] for k in whole]) for name in VARIANTS}
    lines = [(name, *told(values, found["all on"])) for name, values in found.items()]
    click.echo(table((f"{len(whole)} pairs", "read alone", "with a cell blank"), lines))


if __name__ == "__main__":
    main()
