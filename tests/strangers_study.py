"""Strangers among a calibration's photos: `python -m tests.strangers_study --setups 20 --world judging`.

Five liquids or eight, two photos each, sampled without pictures (``tests.tune.sampled``); half of the sets by one
phone and half by any. Each set once as it is, then with one photo of another print of the card, with the later half of
them so, and with one photo of a strip of another make that has as many pads at the same places.
`--pictures N` renders N photos of strips of other kinds and of roll paper, and looks at each as the first day does.
"""

from __future__ import annotations

import argparse
from collections import Counter
from dataclasses import replace

import numpy as np

from calibration.card_estimate import estimate_card
from calibration.known_pads import KnownPads
from calibration.strangers.look import suspected
from calibration.strangers.suspicion import Suspicion
from stripread.correction.fit import fix_colour
from stripread.errors import Refused
from stripread.strip.measure import measure
from stripread.strip.pads import pads_to_lab
from tests.scenes.measured import WORLDS, World
from tests.scenes.photo import render
from tests.scenes.scene import random_scene
from tests.scenes.strips import DYES, RECIPES, Recipe, StripState
from tests.scenes.strips import kind as strip_kind
from tests.tune.sampled import SampledPhoto, sampled_photo

LIQUIDS = {"5 liquids": (1.2, 4.0, 6.9, 9.2, 12.6), "8 liquids": (1.2, 2.4, 4.0, 6.9, 8.1, 9.2, 11.5, 12.6)}
RANGE = (0.0, 14.0)
OTHERS = ("three", "universal", "bromothymol", "roll")


def of_another_make(seed: int) -> str:
    """The name of a kind with four pads, as ``four`` has them, of dyes and loads drawn anew."""
    rng, name = np.random.default_rng([seed, 8]), f"stranger {seed}"
    drawn = [rng.choice(sorted(DYES), size=int(rng.integers(2, 5)), replace=False) for _ in range(4)]
    RECIPES[name] = Recipe(tuple({str(d): float(rng.uniform(0.3, 1.0)) for d in some} for some in drawn), (6.0,) * 4)
    return name


def photographed(
    setup: int, n: int, ph: float, world: World, *, print_seed: int | None = None, kind: str = "four"
) -> SampledPhoto:
    """Photo ``n`` of a setup's calibration; even setups are taken by one phone."""
    printed = setup if print_seed is None else print_seed
    own = {"printer_seed": printed, "sheet_seed": printed, "world": world}
    rng = np.random.default_rng([setup, n, 61])
    scene = random_scene(rng, **own, **({} if setup % 2 else {"phone_seed": setup}))  # type: ignore[arg-type]
    scene = replace(scene, icc="srgb", local_tone=0.0)
    return sampled_photo(scene, [StripState(kind, ph, setup, n)], np.random.default_rng([setup, n, 62]))


def looked_at(photos: list[SampledPhoto], ph: list[float]) -> tuple[Suspicion, ...]:
    """As ``calibration.learn`` does."""
    cards = [photo.samples for photo in photos]
    card = estimate_card(cards)
    pads = [pads_to_lab(photo.pads, fix_colour(photo.samples, card)) for photo in photos]
    known = [
        KnownPads(p.lab, p.cov, value, 0.02, f"{n:064x}", f"{n}.jpg")
        for n, (p, value) in enumerate(zip(pads, ph, strict=True))
    ]
    return suspected(known, cards, RANGE)


class Counted(Counter[tuple[str, str]]):
    """How often what was found, by case and what."""

    def add(self, case: str, found: tuple[Suspicion, ...], photos: set[int], ways: set[str]) -> None:
        """``photos``: the strangers; ``ways``: what may be said of them."""
        right = [one for one in found if photos and photos <= set(one.photos)]
        self[case, "sets"] += 1
        self[case, "noticed"] += bool(found)
        self[case, "photo named"] += bool(right)
        self[case, "cause named"] += any(one.way in ways for one in right)
        self[case, "others accused"] += any(not photos & set(one.photos) for one in found)


def study(setups: range, world: World) -> None:
    """Print what was noticed and named, a line a number of liquids and a line a case."""
    for name, liquids in LIQUIDS.items():
        ph = [value for value in liquids for _ in range(2)]
        half, counted = len(ph) // 2, Counted()
        sides = (set(range(half)), set(range(half, len(ph))))
        for setup in setups:
            one = setup % len(ph)
            own = [photographed(setup, n, value, world) for n, value in enumerate(ph)]
            other = {
                n: photographed(setup, n, value, world, print_seed=20_000 + setup)
                for n, value in enumerate(ph)
                if n == one or n >= half
            }
            strange = photographed(setup, one, ph[one], world, kind=of_another_make(setup))
            counted.add("as it is", looked_at(own, ph), set(), set())
            found = looked_at([*own[:one], other[one], *own[one + 1 :]], ph)
            counted.add("one photo of another print", found, {one}, {"other_print"})
            found = looked_at(own[:half] + [other[n] for n in range(half, len(ph))], ph)
            side = next((set(one.photos) for one in found if set(one.photos) in sides), sides[1])
            counted.add("half of them", found, side, {"other_print"})
            found = looked_at([*own[:one], strange, *own[one + 1 :]], ph)
            counted.add("one strip of another make", found, {one}, {"foreign", "apart", "elsewhere"})
        print(name)
        for case in dict.fromkeys(case for case, _what in counted):
            print(f"  {case:28s} " + ", ".join(f"{what} {counted[case, what]}" for c, what in counted if c == case))


def pictures(count: int, first: int, world: World) -> None:
    """Print what the first day says of rendered photos of strips of other kinds, taken for one with four pads."""
    said: Counter[str] = Counter()
    for seed in range(first, first + count):
        rng = np.random.default_rng([seed, 63])
        own = {"printer_seed": seed, "sheet_seed": seed, "phone_seed": seed, "world": world, "kind": OTHERS[seed % 4]}
        try:
            measure(render(random_scene(rng, **own)).data, strip_kind("four"))  # type: ignore[arg-type]
            said["taken, left to the calibration"] += 1
        except Refused as refused:
            said[refused.reason.code] += 1
    print(f"{count} photos of other kinds: {dict(said)}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--setups", type=int, default=20)
    parser.add_argument("--first", type=int, default=900)
    parser.add_argument("--world", choices=WORLDS, default="judging")
    parser.add_argument("--pictures", type=int, default=0)
    given = parser.parse_args()
    if given.pictures:
        pictures(given.pictures, given.first, given.world)
    else:
        study(range(given.first, given.first + given.setups), given.world)


if __name__ == "__main__":
    main()
