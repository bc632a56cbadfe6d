"""A sample beside a comparison, in rendered photos: `python -m tests.comparison_study --kind four --setups 6`.

Half of the samples lie within half a pH of the comparison. Each photo is read by itself, beside the known pH, and
beside water of unknown pH. Setups, profiles and strangers' phones are those of ``tests.accuracy``.
"""

from __future__ import annotations

import os
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from typing import Literal

import click
import numpy as np

from stripread.ph.buffers import Liquid
from stripread.ph.read import read_ph
from stripread.results import PhReading
from tests.accuracy import profile_of, scene_of
from tests.scenes.faults import second_strip
from tests.scenes.measured import WORLDS, World
from tests.scenes.scene import STRIP_RANGE, Scene
from tests.scenes.shelf import photo_bytes

LANE_MM = (31.5, 42.5)  # the strips' middles
Slip = Literal["none", "exchanged", "other_buffer", "dry", "other_kind", "other_bottle"]
SLIPS: tuple[Slip, ...] = ("exchanged", "other_buffer", "dry", "other_kind", "other_bottle")
OTHER_KIND = {"four": "universal", "universal": "three", "three": "four", "bromothymol": "four", "roll": "universal"}
NAMES = {
    "comparison_dry",
    "comparison_kind",
    "comparison_off",
    "comparison_unread",
    "exchange_unseen",
    "strips_exchanged",
}
BANDS = ((0.0, 0.5), (0.5, 2.0), (2.0, 14.0))


@dataclass(frozen=True)
class Row:
    """One photo: true pH of sample and comparison, and what the three readings of it came to."""

    ph: float
    known: float
    alone: PhReading
    beside: PhReading
    water: PhReading


def pair(kind: str, setup: int, draw: int, *, slip: Slip = "none", world: World = "made-up") -> Scene:
    """Two strips of the setup's bottle in one photo by a stranger's phone, the sample's the upper, with a slip."""
    rng = np.random.default_rng([setup, draw, 101])
    low, high = STRIP_RANGE[kind]
    known = float(rng.uniform(low, high))
    reach = 0.5 if draw % 2 == 0 else high - low
    ph = float(np.clip(known + rng.uniform(-reach, reach), low, high))
    scene = scene_of(kind, setup, draw, world=world)
    upper = replace(scene, strips=(replace(scene.strips[0], strip=replace(scene.strips[0].strip, ph=ph)),))
    both = second_strip(upper, known, rng)
    # Both with the dipped end to the left, as the card asks: of strips laid head to foot some are refused.
    one, two = (replace(s, y_mm=y, flipped=False) for s, y in zip(both.strips, LANE_MM, strict=True))
    state = two.strip
    if slip == "exchanged":
        one, two = replace(one, strip=replace(one.strip, ph=known)), replace(two, strip=replace(state, ph=ph))
    elif slip == "other_buffer":
        off = float(np.random.default_rng([setup, draw, 107]).uniform(2.0, 4.0))
        other = known + off if known + off <= high else known - off
        two = replace(two, strip=replace(state, ph=other))
    elif slip == "dry":
        two = replace(two, strip=replace(state, wet=False))
    elif slip == "other_kind":
        two = replace(two, strip=replace(state, kind=OTHER_KIND[kind]))
    elif slip == "other_bottle":
        two = replace(two, strip=replace(state, lot_seed=state.lot_seed + 50_000))
    return replace(both, strips=(one, two))


def said_ph(kind: str, setup: int, draw: int) -> float:
    """What the comparison is said to have been dipped in."""
    return pair(kind, setup, draw).strips[1].strip.ph


def run_setup(job: tuple[str, int, int, World]) -> list[Row]:
    """All photos of a setup, read."""
    import cv2

    cv2.setNumThreads(1)
    kind, setup, reads, world = job
    profile, rows = profile_of(kind, setup, world=world), []
    for draw in range(reads):
        scene = pair(kind, setup, draw, world=world)
        sample, comparison = (lying.strip.ph for lying in scene.strips)
        data = photo_bytes(scene)
        liquids = (None, Liquid("known", comparison, 0.01), Liquid("water", None, 0.0))
        rows.append(Row(sample, comparison, *(read_ph(data, profile, "", liquid) for liquid in liquids)))
    return rows


def report(rows: list[Row]) -> str:
    """Error, coverage and width alone and beside, and of differences, by how far the two lie apart."""
    lines = []
    for low, high in BANDS:
        here = [
            r for r in rows if low <= abs(r.ph - r.known) < high and r.alone.ph is not None and r.beside.ph is not None
        ]
        if not here:
            continue
        words = []
        for name in ("alone", "beside"):
            got = [getattr(r, name) for r in here]
            off = np.abs([g.ph - r.ph for g, r in zip(got, here, strict=True)])
            held = np.mean([g.interval[0] <= r.ph <= g.interval[1] for g, r in zip(got, here, strict=True)])
            width = np.mean([g.interval[1] - g.interval[0] for g in got])
            words.append(f"{name} error {off.mean():.3f} coverage {held:.1%} width {width:.2f}")
        found = [
            (r.water.comparison, r.ph - r.known)
            for r in here
            if r.water.comparison and r.water.comparison.delta_ph is not None
        ]
        off = np.abs([c.delta_ph - truth for c, truth in found])
        held = np.mean([c.delta_interval[0] <= truth <= c.delta_interval[1] for c, truth in found])
        words.append(f"difference error {off.mean():.3f} coverage {held:.1%}")
        lines.append(f"{low:g} to {high:g} pH apart, {len(here)}: " + "; ".join(words))
    refused = Counter(
        r.code for row in rows if row.beside.ph is None for r in row.beside.reasons if r.severity == "refuse"
    )
    doubts = Counter(
        r.code for row in rows if row.beside.ph is not None for r in row.beside.reasons if r.severity == "doubt"
    )
    wrong = sum(
        r.beside.status == "ok"
        and abs(r.beside.ph - r.ph) > 0.5
        and not r.beside.interval[0] <= r.ph <= r.beside.interval[1]
        for r in rows
        if r.beside.ph is not None
    )
    lines.append(f"{len(rows)} photos, refused {dict(refused)}, doubts {dict(doubts)}, confidently wrong {wrong}")
    return "\n".join(lines)


def run_slips(job: tuple[str, int, int, World]) -> list[tuple[Slip, bool, str]]:
    """Photos of a setup with each slip: which, whether the two strips' true pH lie within half a pH, what was named."""
    kind, setup, reads, world = job
    profile, rows = profile_of(kind, setup, world=world), []
    for draw in range(reads):
        known = said_ph(kind, setup, draw)
        for slip in SLIPS:
            scene = pair(kind, setup, draw, slip=slip, world=world)
            got = read_ph(photo_bytes(scene), profile, "", Liquid("known", known, 0.01))
            near = abs(scene.strips[0].strip.ph - scene.strips[1].strip.ph) < BANDS[0][1]
            named = sorted({r.code for r in got.reasons if r.code in NAMES or r.severity == "refuse"})
            rows.append((slip, near and slip == "exchanged", " + ".join(named) or "nothing"))
    return rows


def report_slips(rows: list[tuple[Slip, bool, str]]) -> str:
    """What was named, by slip."""
    lines = []
    for slip, near in dict.fromkeys((slip, near) for slip, near, _ in rows):
        named = Counter(what for one, two, what in rows if (one, two) == (slip, near))
        told = ", ".join(f"{what} {count}" for what, count in named.most_common())
        lines.append(f"{slip}{', within half a pH' if near else ''}, {named.total()}: {told}")
    return "\n".join(sorted(lines))


@click.command()
@click.option(
    "--slips", is_flag=True, help="What becomes of strips exchanged, dry, in another buffer, of another kind."
)
@click.option("--kind", default="four", show_default=True)
@click.option("--setups", default=6, show_default=True)
@click.option("--first", default=0, show_default=True)
@click.option("--reads", default=20, show_default=True)
@click.option("--world", type=click.Choice(WORLDS), default="made-up", show_default=True)
@click.option("--workers", default=os.cpu_count(), show_default=True)
def main(  # noqa: PLR0917 - the command's options
    kind: str, setups: int, first: int, reads: int, world: World, workers: int, slips: bool
) -> None:
    """Render, read, print."""
    if slips:
        with ProcessPoolExecutor(workers) as pool:
            parts = pool.map(run_slips, [(kind, first + s, reads, world) for s in range(setups)])
            found = [row for part in parts for row in part]
        print(f"{kind}, {world}, {setups} setups\n{report_slips(found)}")
        return
    rows: list[Row] = []
    with ProcessPoolExecutor(workers) as pool:
        for part in pool.map(run_setup, [(kind, first + s, reads, world) for s in range(setups)]):
            rows += part
    print(f"{kind}, {world}, {setups} setups\n{report(rows)}")


if __name__ == "__main__":
    main()
