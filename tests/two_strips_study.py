"""Two or three strips in the lane: `python -m tests.two_strips_study --layout apart --n 40`.

Is each of them read, in the lane's order? Strips that touch, overlap or lie head to foot have to be read rightly or
refused with what to do; one that is read as another, unnoticed, is an error of order. Cards, bottles and phones are
those of setups as in ``tests.accuracy``. ``SCENE_SHELF=FOLDER`` keeps photos. Layout ``as_people_lay`` is two or three
strips anywhere in the lane, every other photo in hard light. ``--finding`` stops at where the strips lie and in what
order, which needs no profile.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from itertools import product
from typing import Literal

import click
import numpy as np

from stripread.card.find import CardTrace, find_card
from stripread.errors import Refused
from stripread.ph.read import PhTrace, trace_ph
from stripread.strip.find import find_in_lane
from stripread.strip.one_strip import FoundStrip
from tests.accuracy import profile_of, scene_of
from tests.scenes.measured import WORLDS, World
from tests.scenes.scene import Scene
from tests.scenes.shelf import photo_bytes
from tests.scenes.strips import kind as strip_kind
from tests.scenes.surfaces import pad_boxes
from tests.scenes.together import LAYOUTS, Layout, as_people_lay, laid

Way = Layout | Literal["as_people_lay"]
WAYS: tuple[Way, ...] = (*LAYOUTS, "as_people_lay")
SIZE = (1512, 1134)
RIGHT_MM = 2.5  # a strip read lies this near the one that was laid
ON_ROLL_MM = 8.0  # of a piece of roll paper, whose ends another may hide, half of what must be seen


def photo(kind: str, layout: Way, setup: int, draw: int, world: World) -> Scene:
    """Strips of the setup's bottle laid so, by a stranger's phone."""
    if layout == "as_people_lay":
        scene = scene_of(kind, setup, draw, hard=draw % 2 == 1, world=world)
        return as_people_lay(scene, np.random.default_rng([setup, draw, 109]))
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


def places(scene: Scene, strips: list[FoundStrip]) -> list[int]:
    """Which of the strips laid, counted from the card's top edge, each found one is; -1 where none lies.

    Roll paper is found if the middle of what is found lies on it; what is found twice lies nowhere.
    """
    at, found = pads_at(scene), []
    order = np.argsort(at[:, 1])
    roll = strip_kind(scene.strips[0].strip.kind).is_roll
    turns = np.radians([scene.strips[n].angle_deg for n in order])
    for strip in strips:
        off = np.mean([pad.quad_mm.mean(axis=0) for pad in strip.pads], axis=0) - at[order]
        along = np.abs(np.cos(turns) * off[:, 0] + np.sin(turns) * off[:, 1])
        across = np.abs(np.cos(turns) * off[:, 1] - np.sin(turns) * off[:, 0])
        away = np.hypot(across, np.maximum(along - ON_ROLL_MM, 0.0) if roll else along)
        n = int(away.argmin())
        found.append(n if away[n] < RIGHT_MM and n not in found else -1)
    return found


def found_only(scene: Scene) -> str:
    """What became of the photo in a few words, as far as finding goes: every refusal is a needless one."""
    try:
        lane = find_in_lane(find_card(photo_bytes(scene), CardTrace()), strip_kind(scene.strips[0].strip.kind))
    except Refused as refused:
        return f"refused: {refused.reason.code}"
    found = places(scene, list(lane.strips))
    codes = sorted({one.reason.code for one in lane.unread})
    if -1 in found:
        return "a strip read where none lies" + _of(codes)
    if found != sorted(found):
        return "order exchanged"
    if len(found) < len(scene.strips):
        return f"{len(found)} of {len(scene.strips)} found" + _of(codes)
    return "all in order"


def outcome(scene: Scene, trace: PhTrace) -> tuple[str, list[tuple[float, bool]]]:
    """What became of the photo in a few words, and error and coverage of each strip that was read rightly.

    Strips come in the order in which they are laid in ``scene``; what is told of them must have the order of their
    places, whichever lies on the other.
    """
    order = np.argsort(pads_at(scene)[:, 1])
    truth = [scene.strips[n].strip for n in order]
    wet = [one.wet for one in truth]
    found = places(scene, [strip.strip for strip in trace.strips])
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
    rightly = [place for place in found if place >= 0]
    first = trace.reading.ph is not None and (not found or found[0] != 0)
    if misread:
        return "a strip read where none lies" + _of(codes + doubts), got
    if rightly != sorted(rightly):
        return "order exchanged", got
    if first:
        return "another than the first taken for it" + _of(codes + doubts), got
    if len(rightly) == len(truth) and not needless:
        return "all in order", got
    return f"{len(rightly)} of {len(truth)} found" + _of(codes + doubts), got


def _of(codes: list[str]) -> str:
    return f": {', '.join(codes)}" if codes else ", nothing said"


@click.command()
@click.option("--kind", default="four", show_default=True)
@click.option("--layout", "layouts", type=click.Choice(WAYS), multiple=True, help="All of them where none is named.")
@click.option("--setups", default=2, show_default=True)
@click.option("--first", default=0, show_default=True)
@click.option("--n", default=20, show_default=True, help="Photos of each layout and setup.")
@click.option("--world", type=click.Choice(WORLDS), default="made-up", show_default=True)
@click.option("--finding", is_flag=True, help="Only whether each strip is found, in order; without profiles.")
@click.option("--tell", is_flag=True, help="Name the photos that did not come out all in order.")
def main(  # noqa: PLR0917 - the command's options
    kind: str, layouts: tuple[Way, ...], setups: int, first: int, n: int, world: World, finding: bool, tell: bool
) -> None:
    """Print how many photos gave every strip, in order, and why not."""
    profiles = {s: None if finding else profile_of(kind, s, world=world) for s in range(first, first + setups)}
    for layout in layouts or WAYS:
        found: Counter[str] = Counter()
        errors = []
        for setup, draw in product(profiles, range(n)):
            scene = photo(kind, layout, setup, draw, world)
            profile = profiles[setup]
            if profile is None:
                what, got = found_only(scene), []
            else:
                what, got = outcome(scene, trace_ph(photo_bytes(scene), profile, str(draw)))
            found[what] += 1
            errors += got
            if tell and what != "all in order":
                print(f"  {layout} setup {setup} draw {draw}: {what}")
        off, held = np.array(errors or [(np.nan, np.nan)], dtype=float).T
        print(f"{kind}, {layout}: {found.total()} photos")
        if not finding:
            print(
                f"  {len(errors)} wet strips read, off by {off.mean():.3f}, {held.mean():.1%} of their intervals held"
            )
        for what, count in found.most_common():
            print(f"{count:6d}  {what}")


if __name__ == "__main__":
    main()
