"""Limits beyond which a calibration's photo is a stranger: another print of the card, another colour in one liquid."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.card_estimate import estimate_card
from calibration.known_pads import KnownPads
from calibration.strangers.one_liquid import difference
from calibration.strangers.other_print import most_apart
from stripread.correction.fit import fix_colour
from stripread.strip.pads import pads_to_lab
from stripread.tuned import Value
from tests.strangers_study import LIQUIDS, of_another_make, photographed
from tests.tune.engine import Tuning
from tests.tune.sampled import world_of

PACKAGE = "calibration.strangers"
PHOTOS = 2  # a liquid


@dataclass(frozen=True)
class Apart:
    """By how much photos differ where all is right, and where one is a stranger."""

    right: tuple[float, ...]
    strange: tuple[float, ...]


def _ph() -> list[float]:
    return [value for value in LIQUIDS["5 liquids"] for _ in range(PHOTOS)]


def draw_prints(setup: int) -> Apart:
    """One set of photos of one print, and the same with one photo of another."""
    ph, world = _ph(), world_of(setup)
    own = [photographed(setup, n, value, world).samples for n, value in enumerate(ph)]
    one = setup % len(ph)
    other = photographed(setup, one, ph[one], world, print_seed=20_000 + setup).samples
    group, worse = most_apart([*own[:one], other, *own[one + 1 :]])
    return Apart((most_apart(own)[1],), (worse if group == (one,) else 0.0,))


def draw_liquids(setup: int) -> Apart:
    """Pairs of photos of one liquid, and each with one of another make's strip in it."""
    ph, world = _ph(), world_of(setup)
    photos = [photographed(setup, n, value, world) for n, value in enumerate(ph)]
    card = estimate_card([photo.samples for photo in photos])
    kind = of_another_make(setup)
    photos += [photographed(setup, n, value, world, kind=kind) for n, value in enumerate(ph)]
    found = [pads_to_lab(photo.pads, fix_colour(photo.samples, card)) for photo in photos]
    known = [KnownPads(p.lab, p.cov, value, 0.02, "", "") for p, value in zip(found, 2 * ph, strict=True)]
    first = range(0, len(ph), PHOTOS)
    right = tuple(difference(known[n], known[n + 1]) for n in first)
    return Apart(right, tuple(difference(known[n], known[len(ph) + n + 1]) for n in first))


def _fit(setups: Sequence[Apart]) -> Value:
    """Between the two, so that as large a share of either lies on the wrong side; their middle where none does."""
    right = np.array([v for s in setups for v in s.right])
    strange = np.array([v for s in setups for v in s.strange])
    tried = np.unique(np.concatenate([right, strange]))
    wrong = [np.mean(right > value) + np.mean(strange <= value) for value in tried]
    best = tried[np.flatnonzero(np.isclose(wrong, np.min(wrong)))]
    above = strange[strange > best[-1]]
    return float(f"{np.sqrt(best[0] * (above.min() if len(above) else best[-1])):.3g}")


def _judge(setup: Apart, value: Value) -> dict[str, float]:
    assert not isinstance(value, tuple)
    return {
        "right ones accused": float(np.mean(np.array(setup.right) > value)),
        "strangers noticed": float(np.mean(np.array(setup.strange) > value)),
    }


TUNINGS = {
    "other_print": Tuning(PACKAGE, draw_prints, _fit, _judge),
    "one_liquid_apart": Tuning(PACKAGE, draw_liquids, _fit, _judge),
}
