"""Two or three strips in the lane: `python -m tests.two_strips_study --layout apart --n 40`.

Is each of them read, in the lane's order? Strips that touch, overlap or lie head to foot have to be read rightly or
refused with what to do; one that is read as another, unnoticed, is an error of order. Cards, bottles and phones are
those of setups as in ``tests.accuracy``. ``SCENE_SHELF=FOLDER`` keeps photos.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from itertools import product

import click
import numpy as np

from stripread.ph.read import PhTrace, trace_ph
from tests.accuracy import profile_of, scene_of
from tests.scenes.measured import WORLDS, World
from tests.scenes.scene import Scene
from tests.scenes.shelf import photo_bytes
from tests.scenes.surfaces import pad_boxes
from tests.scenes.together import LAYOUTS, Layout, laid

SIZE = (1512, 1134)
RIGHT_MM = 2.5  # a strip read lies this near the one that was laid


def photo(kind: str, layout: Layout, setup: int, draw: int, world: World) -> Scene:
    """Strips of the setup's bottle laid so, by a stranger's phone."""
    scene = laid(scene_of(kind, setup, draw, world=world), layout, np.random.default_rng([setup, draw, 103]))
    upright = scene.size[0] > scene.size[1]
    return replace(scene, size=SIZE if upright else SIZE[::-1])


def pads_at(scene: Scene) -> np.ndarray:
    """Middle of each strip's pads on the card, (n, 2) mm."""
    places = []
    for lying in scene.strips:
        boxes = np.array(pad_boxes(lying.strip))
        middle = (boxes[:, :2] + boxes[:, 2:] / 2).mean(axis=0)
        turn = np.radians(lying.angle_deg + 180.0 * lying.flipped)
        c, s = np.cos(turn), np.sin(turn)
        places.append([lying.x_mm + c * middle[0] - s * middle[1], lying.y_mm + s * middle[0] + c * middle[1]])
    return np.array(places)


def outcome(scene: Scene, trace: PhTrace) -> tuple[str, list[tuple[float, bool]]]:
    """What became of the photo in a few words, and error and coverage of each strip that was read rightly.

    Strips come in the order in which they are laid in ``scene``; what is told of them must have the order of their
    places, whichever lies on the other.
    """
    at = pads_at(scene)
    order = np.argsort(at[:, 1])
    truth = [scene.strips[n].strip for n in order]
    wet = [one.wet for one in truth]
    found = []
    for strip in trace.strips:
        away = np.hypot(*(at[order] - np.mean([pad.quad_mm.mean(axis=0) for pad in strip.strip.pads], axis=0)).T)
        found.append(int(away.argmin()) if away.min() < RIGHT_MM else -1)
    assert trace.reading is not None
    strips = trace.reading.strips
    got, misread = [], False
    for place, strip in zip(found, strips, strict=False):
        if strip.ph is None:
            continue
        if place < 0:
            misread = True
            continue
        if wet[place]:
            got.append((abs(strip.ph - truth[place].ph), strip.interval[0] <= truth[place].ph <= strip.interval[1]))
    codes = sorted({r.code for r in trace.reading.reasons if r.severity == "refuse"})
    codes += sorted({r.code for s in strips[1:] for r in s.reasons if r.severity == "refuse"})
    needless = [c for c in codes if c != "off_curve" or all(wet)]
    doubts = sorted({r.code for s in strips for r in s.reasons if r.code == "strip_beside_unread"})
    places = [place for place in found if place >= 0]
    first = trace.reading.ph is not None and (not found or found[0] != 0)
    if misread:
        return "a strip read where none lies" + _of(codes + doubts), got
    if places != sorted(places):
        return "order exchanged", got
    if first:
        return "another than the first taken for it" + _of(codes + doubts), got
    if len(places) == len(truth) and not needless:
        return "all in order", got
    return f"{len(places)} of {len(truth)} found" + _of(codes + doubts), got


def _of(codes: list[str]) -> str:
    return f": {', '.join(codes)}" if codes else ", nothing said"


@click.command()
@click.option("--kind", default="four", show_default=True)
@click.option("--layout", "layouts", type=click.Choice(LAYOUTS), multiple=True, help="All of them where none is named.")
@click.option("--setups", default=2, show_default=True)
@click.option("--first", default=0, show_default=True)
@click.option("--n", default=20, show_default=True, help="Photos of each layout and setup.")
@click.option("--world", type=click.Choice(WORLDS), default="made-up", show_default=True)
@click.option("--tell", is_flag=True, help="Name the photos that did not come out all in order.")
def main(  # noqa: PLR0917 - the command's options
    kind: str, layouts: tuple[Layout, ...], setups: int, first: int, n: int, world: World, tell: bool
) -> None:
    """Print how many photos gave every strip, in order, and why not."""
    profiles = {setup: profile_of(kind, setup, world=world) for setup in range(first, first + setups)}
    for layout in layouts or LAYOUTS:
        found: Counter[str] = Counter()
        errors = []
        for setup, draw in product(profiles, range(n)):
            scene = photo(kind, layout, setup, draw, world)
            what, got = outcome(scene, trace_ph(photo_bytes(scene), profiles[setup], str(draw)))
            found[what] += 1
            errors += got
            if tell and what != "all in order":
                print(f"  {layout} setup {setup} draw {draw}: {what}")
        off, held = np.array(errors or [(np.nan, np.nan)], dtype=float).T
        print(f"{kind}, {layout}: {found.total()} photos")
        print(f"  {len(errors)} wet strips read, off by {off.mean():.3f}, {held.mean():.1%} of their intervals held")
        for what, count in found.most_common():
            print(f"{count:6d}  {what}")


if __name__ == "__main__":
    main()
