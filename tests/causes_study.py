"""Where the error of a reading comes from, causes switched off one at a time: `python -m tests.causes_study`.

A setup is a card, a bottle and a calibrating phone; strips of other bottles are read by strangers' phones in ordinary
light. The same photos are then taken anew with one cause gone, and read with the same profile. A cause's share is what
the mean squared error loses without it; shares need not add up to one, since causes act on each other. Errors beyond
``MOST`` count as that, so that one photo where the curve is flat doesn't decide. ``SCENE_SHELF`` is not used: a phone
without its processing has the same name there.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from dataclasses import dataclass, replace
from multiprocessing import get_context
from pathlib import Path
from unittest.mock import patch

import numpy as np

from stripread.ph.read import read_ph
from tests.accuracy import profile_of, scene_of
from tests.coverage_rows import OTHER_BOTTLE, write_rows
from tests.coverage_tables import table
from tests.scenes import phone as phones
from tests.scenes.measured import WORLDS, World
from tests.scenes.photo import render
from tests.scenes.processing import NONE, Processing, processing
from tests.scenes.scene import Lamp, Scene

MOST = 1.0  # pH


@dataclass(frozen=True)
class Cause:
    """What is switched off. ``scene``: a setup's scene without it; ``left``: what stays of a phone's processing."""

    name: str
    scene: Callable[[Scene, int], Scene] = lambda scene, _: scene
    left: Callable[[Processing], Processing] = lambda whole: whole


def _strip(scene: Scene, **changes: object) -> Scene:
    lying = scene.strips[0]
    return replace(scene, strips=(replace(lying, strip=replace(lying.strip, **changes)),))  # type: ignore[arg-type]


def _even_light(scene: Scene, _: int) -> Scene:
    return replace(scene, lamps=(Lamp("D65"),))


CAUSES = (
    Cause("nothing"),
    Cause("a stranger's phone: by the calibrating one", lambda scene, setup: replace(scene, phone_seed=setup)),
    Cause("lamps: D65, even", _even_light),
    Cause(
        "phone and lamps together",
        lambda scene, setup: replace(_even_light(scene, setup), phone_seed=setup),
    ),
    Cause("all that phones do beside the tone curve", left=lambda _: NONE),
    Cause("local tone mapping", left=lambda p: replace(p, local=0.0)),
    Cause("a maker's look by hue", left=lambda p: replace(p, hues=NONE.hues, chromas=NONE.chromas)),
    Cause("a greasy lens", left=lambda p: replace(p, veil=0.0)),
    Cause("halos and smoothed chroma", left=lambda p: replace(p, halo=0.0, chroma_px=0.0)),
    Cause("another bottle: the profile's own", lambda scene, setup: _strip(scene, lot_seed=setup)),
    Cause(
        "soaked, bent, translucent, drying",
        lambda scene, _: _strip(scene, drying=0.0, front=0.0, bend=0.0, through=0.0),
    ),
    Cause("shine and sheen of a wet strip", lambda scene, _: replace(scene, sheen=0.0, glare=())),
    Cause("compression: a PNG", lambda scene, _: replace(scene, form="PNG")),
    Cause(
        "tilt, curl, shake", lambda scene, _: replace(scene, tilt_deg=0.0, curvature=0.0, motion_px=0.0, defocus_px=0.0)
    ),
)


@dataclass(frozen=True)
class Row:
    """One photo read without one cause; ``read`` is NaN where it was refused."""

    kind: str
    world: str
    setup: int
    draw: int
    cause: str
    ph: float
    read: float


@contextmanager
def processed(left: Callable[[Processing], Processing]) -> Iterator[None]:
    """Phones keep only so much of their processing."""
    phones.phone.cache_clear()
    with patch.object(phones, "processing", lambda seed: left(processing(seed))):
        yield
    phones.phone.cache_clear()


def run(kind: str, world: World, setup: int, reads: int) -> list[Row]:
    """All photos of one setup, under every cause."""
    import cv2

    cv2.setNumThreads(1)
    profile = profile_of(kind, setup, world=world)
    rows = []
    for cause in CAUSES:
        with processed(cause.left):
            for draw in range(reads):
                scene = scene_of(kind, setup, draw, lot=OTHER_BOTTLE + 100 * setup + draw, world=world)
                assert scene.ph is not None
                got = read_ph(render(cause.scene(scene, setup)).data, profile)
                value = float("nan") if got.ph is None else got.ph
                rows.append(Row(kind, world, setup, draw, cause.name, scene.ph, value))
    return rows


def told(rows: Sequence[Row]) -> str:
    """Mean error, root mean square and the share that each cause takes away, by kind; of photos read in all cases."""
    kinds = sorted({r.kind for r in rows})
    errors: dict[tuple[str, str], np.ndarray] = {}
    for kind in kinds:
        by = {
            c.name: {(r.setup, r.draw): r.read - r.ph for r in rows if (r.kind, r.cause) == (kind, c.name)}
            for c in CAUSES
        }
        every = sorted(
            key for key in by["nothing"] if all(np.isfinite(found.get(key, np.nan)) for found in by.values())
        )
        for name, found in by.items():
            errors[kind, name] = np.clip([found[key] for key in every], -MOST, MOST)
    head = ["without"]
    for kind in kinds:
        head += [
            f"{kind} ({len(errors[kind, 'nothing'])} photos): mean error",
            "root mean square",
            "squared error less by",
        ]
    lines: list[list[object]] = []
    for cause in CAUSES:
        line: list[object] = [cause.name]
        for kind in kinds:
            error, whole = errors[kind, cause.name], errors[kind, "nothing"]
            less = 1.0 - float((error**2).mean() / (whole**2).mean())
            line += [f"{np.abs(error).mean():.3f}", f"{np.sqrt((error**2).mean()):.3f}", f"{less:.0%}"]
        lines.append(line)
    return table(head, lines)


def main() -> None:
    """Run and print."""
    ask = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    ask.add_argument("--kinds", default="four,universal")
    ask.add_argument("--world", choices=WORLDS, default="judging")
    ask.add_argument("--setups", type=int, default=6)
    ask.add_argument("--first", type=int, default=980)
    ask.add_argument("--reads", type=int, default=12)
    ask.add_argument("--rows", type=Path, help="write every photo here as CSV")
    ask.add_argument("--workers", type=int, default=os.cpu_count())
    given = ask.parse_args()
    rows: list[Row] = []
    with ProcessPoolExecutor(given.workers, get_context("spawn")) as pool:
        jobs = [
            pool.submit(run, kind, given.world, given.first + n, given.reads)
            for n in range(given.setups)
            for kind in given.kinds.split(",")
        ]
        for done in as_completed(jobs):
            rows += done.result()
            print(f"{rows[-1].kind} {rows[-1].setup}", flush=True)
    if given.rows:
        write_rows(given.rows, rows, anew=True, of=Row)
    print(told(rows))


if __name__ == "__main__":
    main()
