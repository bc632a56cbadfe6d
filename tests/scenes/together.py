"""Two or three strips of one bottle in the lane: apart, touching, crossed, head to foot, or as people lay them."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np

from stripread.card.layout import LANE_MM
from tests.scenes.light import Shadow
from tests.scenes.scene import STRIP_RANGE, Glare, Lying, Scene
from tests.scenes.strips import StripState, kind
from tests.scenes.surfaces import pad_boxes, strip_layers

Layout = Literal["apart", "three", "touching", "overlapping", "head_to_foot"]
LAYOUTS: tuple[Layout, ...] = ("apart", "three", "touching", "overlapping", "head_to_foot")
GAPS_MM = {"apart": (8.0, 16.0), "three": (8.0, 9.5), "head_to_foot": (8.0, 16.0)}  # between the strips' middles
LEAST_EDGE_MM = 0.7  # paper that is left at the narrowest between strips that lie apart
LANE_MIDDLE_MM = (LANE_MM[0] + LANE_MM[2] / 2, LANE_MM[1] + LANE_MM[3] / 2)


def laid(scene: Scene, layout: Layout, rng: np.random.Generator) -> Scene:
    """The scene with strips of its first one's bottle laid so, the one nearest the card's top edge first.

    Of those that lie apart one in five is dry, one in four cut shorter, and each lies up to 9 mm along the lane from
    its middle, turned by as much as leaves paper between them.
    """
    first = scene.strips[0].strip
    sort = kind(first.kind)
    count = 3 if layout == "three" else 2
    if layout == "touching":
        gap = sort.width_mm * float(rng.uniform(1.0, 1.06))
    elif layout == "overlapping":
        gap = sort.width_mm * float(rng.uniform(0.25, 0.95))
    else:
        gap = float(rng.uniform(*GAPS_MM[layout]))
        gap = max(gap, sort.width_mm + 2.0)  # a millimetre on either side: wider strips lie farther apart
    free = np.degrees(max(gap - sort.width_mm - LEAST_EDGE_MM, 0.0) / sort.length_mm)
    turns = rng.uniform(-1.0, 1.0, count) * min(free, 4.0)
    if layout in {"touching", "overlapping"}:
        turns = np.full(count, float(rng.normal(0, 1.0)))
    strips = []
    low, high = STRIP_RANGE[first.kind]
    dry, short = (int(rng.integers(count)) if rng.random() < chance else -1 for chance in (0.2, 0.25))
    turned = int(rng.integers(count))
    for n in range(count):
        state = StripState(first.kind, float(rng.uniform(low, high)), first.lot_seed, int(rng.integers(1 << 30)))
        state = replace(state, bend=first.bend, front=first.front, through=first.through)
        if layout in {"apart", "three"}:
            most = sort.length_mm - sort.pads[-1].offset_mm - sort.pads[-1].length_mm - 12.0
            cut = float(rng.uniform(0.3, 1.0)) * most if n == short and most > 0.0 else 0.0
            state = replace(state, wet=n != dry, cut_mm=cut)
        x = LANE_MIDDLE_MM[0] + float(rng.uniform(-9.0, 9.0))
        y = LANE_MIDDLE_MM[1] + (n - (count - 1) / 2) * gap
        strips.append(Lying(state, x, y, float(turns[n]), layout == "head_to_foot" and n == turned))
    if layout == "overlapping" and rng.random() < 0.5:
        strips.reverse()  # the upper one lies on the other
    return replace(scene, strips=tuple(strips))


SIZES = ((2016, 1512), (3264, 2448), (4032, 3024))  # 3, 8 and 12 megapixels
SIZE_SHARES = (0.7, 0.15, 0.15)
STEEPEST_DEG = 8.0
OVER_LINE_MM = 1.5  # a strip may lie that far over the lane's line
CLEAR_MM = 6.0  # a shadow's edge and shine stay that far off any pad, or they would be a fault


def as_people_lay(scene: Scene, rng: np.random.Generator) -> Scene:
    """The scene with two or three strips of its first one's bottle anywhere in the lane, at 3, 8 or 12 megapixels.

    Their middles lie 8 to 20 mm apart, with at least a millimetre of paper between strips; the whole lies anywhere
    between the lane's lines or a little over one of them, and is turned by up to 8 degrees, each strip a little more.
    One photo in three has a pale and a dark strip: one from the low end of the strip's range, one from the high one.
    One in eight has a dry strip. The dipped ends lie to the left, as the card asks. In one photo of three the edge of a
    shadow crosses the card beside the pads, and in one of three a lamp is mirrored there.
    """
    first = scene.strips[0].strip
    sort = kind(first.kind)
    low, high = STRIP_RANGE[first.kind]
    count = 3 if rng.random() < 1 / 3 else 2
    tall = LANE_MM[3] + 2 * OVER_LINE_MM - sort.width_mm  # that the strips' middles have
    least = max(8.0, sort.width_mm + 1.5)
    steepest = np.degrees(np.arcsin(np.clip((tall - least * (count - 1)) / sort.length_mm, 0.0, 1.0)))
    turn = float(np.clip(rng.normal(0, 4), -min(steepest, STEEPEST_DEG), min(steepest, STEEPEST_DEG)))
    rise = abs(np.sin(np.radians(turn))) * sort.length_mm
    widest = max((tall - rise) / (count - 1), least + 0.2)
    gaps = [float(rng.uniform(least, min(20.0, widest))) for _ in range(count - 1)]
    at = np.cumsum([0.0, *gaps])
    top = LANE_MM[1] - OVER_LINE_MM + (sort.width_mm + rise) / 2
    y = top + float(rng.uniform(0.0, max(tall - rise - at[-1], 0.0))) + at
    turns = np.full(count, turn)
    for n in range(count):  # each a little more, as far as leaves half a millimetre of paper
        beside = min([gap for k, gap in enumerate(gaps) if k in {n - 1, n}]) - sort.width_mm - 0.5
        most = float(np.degrees(beside / sort.length_mm))
        turns[n] += float(rng.uniform(-1.0, 1.0)) * min(most, 3.0)
    ph = rng.uniform(low, high, count)
    if rng.random() < 1 / 3:
        part = rng.permutation(count)
        end = 0.2 * (high - low)
        ph = np.where(part % 2 == 0, rng.uniform(low, low + end, count), rng.uniform(high - end, high, count))
    dry = int(rng.integers(count)) if rng.random() < 1 / 8 else -1
    free = max(LANE_MM[2] - sort.length_mm, 0.0) / 2 + 2.0
    along = float(rng.uniform(-0.8, 0.8)) * free
    strips = []
    for n in range(count):
        state = StripState(first.kind, float(ph[n]), first.lot_seed, int(rng.integers(1 << 30)), wet=n != dry)
        state = replace(state, bend=first.bend, front=first.front, through=first.through)
        x = LANE_MIDDLE_MM[0] + along + float(rng.normal(0, 1.5))
        strips.append(Lying(state, x, float(y[n]), float(turns[n]), False))
    size = SIZES[int(rng.choice(len(SIZES), p=SIZE_SHARES))]
    upright = scene.size[0] > scene.size[1]
    scene = replace(scene, strips=tuple(strips), size=size if upright else size[::-1])
    return _mirrored_beside(_shaded_beside(scene, rng), rng)


def _on_pads(scene: Scene) -> np.ndarray:
    """Points of all pads of all strips on the card, their corners among them, (n, 2) mm."""
    part = np.linspace(0.0, 1.0, 9)
    points = []
    for lying in scene.strips:
        strip = strip_layers(lying, 2)[1]
        for x, y, w, h in pad_boxes(lying.strip):
            points += [strip.on_card(np.array([[x + u * w, y + v * h] for u in part])) for v in (0.0, 0.5, 1.0)]
    return np.concatenate(points)


def _shaded_beside(scene: Scene, rng: np.random.Generator) -> Scene:
    """In one scene of three, the edge of a shadow that crosses the card and no pad."""
    if rng.random() > 1 / 3:
        return scene
    points = _on_pads(scene)
    for _ in range(200):
        at, angle = rng.uniform([0.0, 0.0], [148.0, 104.0]), float(rng.uniform(0, 360))
        width = float(rng.uniform(1.0, 20.0))
        into = (points - at) @ [np.cos(np.radians(angle)), np.sin(np.radians(angle))]
        if into.min() > CLEAR_MM + width or into.max() < -CLEAR_MM - width:
            shadow = Shadow((float(at[0]), float(at[1])), angle, width, float(rng.uniform(0.1, 0.5)))
            return replace(scene, lamps=(replace(scene.lamps[0], shadow=shadow), *scene.lamps[1:]))
    return scene


def _mirrored_beside(scene: Scene, rng: np.random.Generator) -> Scene:
    """In one scene of three, a lamp mirrored in something wet that is no pad."""
    if rng.random() > 1 / 3:
        return scene
    points = _on_pads(scene)
    x, y, w, h = LANE_MM
    for _ in range(200):
        at, radius = rng.uniform([x, y], [x + w, y + h]), float(rng.uniform(2.0, 5.0))
        if np.hypot(*(points - at).T).min() > CLEAR_MM + 2 * radius:
            spot = Glare((float(at[0]), float(at[1])), radius, float(rng.uniform(0.3, 1.5)))
            return replace(scene, glare=(*scene.glare, spot))
    return scene
