"""Two or three strips of one bottle in the lane: apart, touching, one over another, or head to foot."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np

from stripread.card.layout import LANE_MM
from tests.scenes.scene import STRIP_RANGE, Lying, Scene
from tests.scenes.strips import StripState, kind

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
