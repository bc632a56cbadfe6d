"""Strips laid by themselves, side by side and one over another: are they found where they lie, and else refused?

A setup is a card, a bottle and strangers' phones of the choosing half of the measured world: phones that smooth chroma
let a strip's colour bleed. One rendered photo of each way of laying, and ``ALONE`` of one strip by itself, which is how
nearly all are taken.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from types import ModuleType

import numpy as np
from numpy.typing import NDArray

from stripread.card.find import CardTrace, find_card
from stripread.card.view import CardView
from stripread.errors import Refused
from stripread.strip import order, touching
from stripread.strip.find import find_strips
from stripread.tuned import Value
from tests.accuracy import scene_of
from tests.scenes.shelf import photo_bytes
from tests.scenes.strips import kind as strip_kind
from tests.scenes.together import LAYOUTS, laid
from tests.tune.engine import Tuning, replaced
from tests.two_strips_study import RIGHT_MM, SIZE, pads_at

PACKAGE = "stripread.strip"
KINDS = ("four", "universal", "three")  # in turns, a pair of setups each
ALONE = 8
MISREAD = 5.0  # a strip read where none lies is as bad as so many refused


@dataclass(frozen=True)
class Laid:
    """One photo's card, how strips lie on it, and where their pads' middles are, (n, 2) mm."""

    kind: str
    layout: str
    view: CardView
    at: NDArray[np.float64]


def draw(setup: int) -> tuple[Laid, ...]:
    """A photo of every layout, and those of a single strip."""
    kind = KINDS[setup // 2 % len(KINDS)]
    photos = []
    for n, layout in enumerate(("alone",) * ALONE + LAYOUTS):
        scene = scene_of(kind, setup, n, world="choosing")
        if layout != "alone":
            scene = laid(scene, layout, np.random.default_rng([setup, n, 103]))  # type: ignore[arg-type]
        scene = replace(scene, size=SIZE if scene.size[0] > scene.size[1] else SIZE[::-1])
        photos.append(Laid(kind, layout, find_card(photo_bytes(scene), CardTrace()), pads_at(scene)))
    return tuple(photos)


def judged(setup: Sequence[Laid]) -> dict[str, float]:
    """Shares of strips: found where they lie, found elsewhere, refused; and found less five times those elsewhere."""
    right = wrong = 0
    for photo in setup:
        try:
            found = find_strips(photo.view, strip_kind(photo.kind))
        except Refused:
            continue
        for strip in found:
            middle = np.mean([pad.quad_mm.mean(axis=0) for pad in strip.pads], axis=0)
            near = bool(np.hypot(*(photo.at - middle).T).min() < RIGHT_MM)
            right, wrong = right + near, wrong + (not near)
    all_of_them = sum(len(photo.at) for photo in setup)
    return {
        "strips found where they lie": right / all_of_them,
        "strips found elsewhere": wrong / all_of_them,
        "worth": (right - MISREAD * wrong) / all_of_them,
    }


def _tuning(module: ModuleType, constant: str, values: Sequence[Value]) -> Tuning[tuple[Laid, ...]]:
    def judge(setup: tuple[Laid, ...], value: Value) -> dict[str, float]:
        with replaced(module, constant, value):
            return judged(setup)

    def fit(setups: Sequence[tuple[Laid, ...]]) -> Value:
        return values[int(np.argmax([np.mean([judge(s, value)["worth"] for s in setups]) for value in values]))]

    return Tuning(PACKAGE, draw, fit, judge)


TUNINGS = {
    "cut_charge": _tuning(order, "CUT_CHARGE", (0.0, 3.0, 6.0, 10.0, 15.0, 25.0)),
    "edge_colour": _tuning(touching, "EDGE_COLOUR", (0.06, 0.12, 0.18, 0.25, 0.35, 0.45)),
    "too_wide": _tuning(touching, "TOO_WIDE", (1.03, 1.06, 1.09, 1.12, 1.15, 1.18)),
}
