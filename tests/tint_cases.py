"""The photos of the tint study: what stands in the windows, and under what phone and light; one number, one photo."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tests.scenes import Scene, random_scene
from tests.scenes.measured import World
from tests.scenes.solid import Solid
from tests.scenes.spectra import WAVELENGTHS
from tests.scenes.vessels import random_flats, random_wells, with_vessels
from tests.scenes.vial import Dye, Vial, copper, hydroxide, random_pair

PATHS_MM = (10.0, 20.0, 30.0, 50.0, 100.0)
VIALS = ("blank", "copper", "limit", "other", "solid", "cloud")  # the place in this row is part of the seed
VESSELS = ("well", "beaker", "tube", "flat", "hard")
MIXES = ("silver", "greying", "three")  # chloride in silver; oxide turning silver; all three
HEAPS = ("solid", "heap", *MIXES)
SORTS = (*VIALS, *VESSELS, "heap", *MIXES)


@dataclass(frozen=True)
class Case:
    """One photo of two vessels: copper in mg/L, depth in mm, what it is in a word, and the scene."""

    mg_per_l: float
    path_mm: float
    name: str
    scene: Scene


def tint_scene(rng: np.random.Generator, path_mm: float, world: World = "made-up") -> Scene:
    """A photo of vials as somebody careful takes it: nearly straight from above, farther off for deep vials."""
    scene = random_scene(rng, "four", strips=(), world=world)
    tilt = 6.0 if path_mm > 40 else 15.0
    distance = max(scene.distance_mm, 220 + 3.0 * path_mm)
    return replace(scene, distance_mm=distance, tilt_deg=min(scene.tilt_deg, tilt), curvature=0.0)


def other_colour(rng: np.random.Generator) -> tuple[str, tuple[Dye, ...], dict[str, object]]:
    """One of the things that are not copper: its name, dyes, and what else is set on the vial."""
    strength = float(np.exp(rng.uniform(np.log(0.005), np.log(0.5))))
    name = str(rng.choice(["iron", "nickel", "haze", "reflection"]))
    if name == "iron":
        return name, (Dye(1.5 * strength, 400.0, 6000.0),), {}
    if name == "nickel":
        return name, (Dye(strength, float(rng.uniform(565, 580)), 4500.0),), {}
    if name == "haze":
        return name, (), {"haze": float(rng.uniform(0.05, 0.5))}
    tint = np.exp(-(((WAVELENGTHS - rng.uniform(440, 640)) / 60) ** 2)) * rng.uniform(0.02, 0.3)
    return name, (), {"mirror": tint}


def some_copper(rng: np.random.Generator, path_mm: float) -> tuple[float, Dye]:
    """1 to 500 mg/L, absorptivity and band as one of the sources has them."""
    milligrams = float(np.exp(rng.uniform(0.0, np.log(500.0))))
    epsilon, peak = ((50, 612), (55, 615), (60, 612), (77, 640))[int(rng.integers(4))]
    return milligrams, copper(milligrams, path_mm, float(epsilon), float(peak))


def tint_case(sort: str, number: int, world: World = "made-up") -> Case:
    """The photo of this sort and number."""
    if sort in VESSELS:
        return _vessel_case(sort, number, world)
    rng = np.random.default_rng([9, VIALS.index(sort), number])
    path = float(rng.choice((10.0, 30.0) if sort == "limit" else PATHS_MM))
    milligrams, name = 0.0, sort
    dyes: tuple[Dye, ...] = ()
    fixed: dict[str, object] = {}
    if sort == "copper":
        milligrams, dye = some_copper(rng, path)
        dyes = (dye,)
    elif sort == "limit":
        milligrams = 8.0 if path == 10.0 else 3.0
        dyes = (copper(milligrams, path),)
    elif sort == "other":
        name, dyes, fixed = other_colour(rng)
    elif sort == "cloud":
        dyes, fixed = (Dye(0.05),), hydroxide(float(rng.uniform(0.15, 0.6)))
    scene = tint_scene(rng, path, world)
    return Case(milligrams, path, name, with_vessels(scene, *random_pair(rng, dyes, path, **fixed)))


def _vessel_case(sort: str, number: int, world: World) -> Case:
    """Wells, beakers, narrow tubes, vessels drawn flat: a third with nothing in them, half with copper, the rest iron
    or nickel. Hard: any of them in bad light and seen from the side.
    """
    rng = np.random.default_rng([9, 50 + VESSELS.index(sort), number])
    hard = sort == "hard"
    if hard:
        sort = str(rng.choice(VESSELS[:-1]))
    lowest, highest = {"well": (4.0, 9.0), "beaker": (6.0, 30.0), "tube": (8.0, 40.0), "flat": (5.0, 60.0)}[sort]
    path = float(rng.uniform(lowest, highest))
    milligrams, name = 0.0, "blank"
    dyes: tuple[Dye, ...] = ()
    what = rng.random()
    if what > 0.5:
        milligrams, dye = some_copper(rng, path)
        name, dyes = "copper", (dye,)
    elif what > 0.33:
        strength = float(np.exp(rng.uniform(np.log(0.01), np.log(0.5))))
        name = str(rng.choice(["iron", "nickel"]))
        dyes = (Dye(1.5 * strength, 400.0, 6000.0) if name == "iron" else Dye(strength, 573.0, 4500.0),)
    scene = _hard_scene(rng, world) if hard else tint_scene(rng, path, world)
    if sort == "well":
        return Case(milligrams, path, name, with_vessels(scene, *random_wells(rng, dyes, path)))
    if sort == "flat":
        return Case(milligrams, path, name, with_vessels(scene, *random_flats(rng, dyes, path)))
    return Case(milligrams, path, name, with_vessels(scene, *_glass(rng, sort, dyes, path)))


def _hard_scene(rng: np.random.Generator, world: World) -> Scene:
    """Two lamps of different colour, poor colour or a coloured wall; shadows; the phone held anyhow."""
    scene = random_scene(rng, "four", strips=(), hard=True, world=world)
    return replace(scene, tilt_deg=float(rng.uniform(5.0, 30.0)))


def _glass(rng: np.random.Generator, sort: str, dyes: tuple[Dye, ...], path_mm: float) -> tuple[Vial, Vial]:
    """Two like beakers (wide, thick walls, not filled to the rim) or narrow tubes."""
    sample, blank = random_pair(rng, dyes, path_mm)
    radius, wall = float(rng.uniform(11.0, 16.0)), float(rng.uniform(1.2, 2.5))
    height = path_mm + float(rng.uniform(5.0, 20.0))
    if sort == "tube":
        radius, wall = float(rng.uniform(4.0, 7.5)), float(rng.uniform(0.6, 1.2))
        height = path_mm + float(rng.uniform(2.0, 10.0))
    like = {"radius_mm": radius, "wall_mm": wall, "height_mm": height}
    glints = [int(n) for n in rng.choice([0, 1, 2], 2)]
    return replace(sample, glints=glints[0], **like), replace(blank, glints=glints[1], **like)  # type: ignore[arg-type]


def one_heap(number: int, world: World = "made-up") -> tuple[Scene, Solid]:
    """The scene and the heap of one photo."""
    rng = np.random.default_rng([9, 77, number])
    scene = random_scene(rng, "four", strips=(), fill=float(rng.uniform(0.75, 0.93)), world=world)
    solid = Solid(
        pale=float(rng.choice([0.0, 0.003, 0.01, 0.03, 0.07, 0.15, 0.3, 0.6, 0.9])),
        grain_mm=float(np.exp(rng.uniform(np.log(0.06), 0.0))),
        dark=rng.uniform(0.025, 0.08),
        bright=rng.uniform(0.6, 0.85),
        brown=rng.uniform(0, 0.6),
        rough=rng.uniform(0.05, 0.3),
        radius_mm=rng.uniform(8, 12),
        glints=int(rng.choice([0, 0, 4])),
        seed=int(rng.integers(1 << 30)),
    )
    return scene, solid


def another_heap(number: int, world: World = "made-up") -> tuple[Scene, Solid]:
    """A heap of other habits than :func:`one_heap`: ragged clumps, shaded, uneven in brightness, wet, or in a dish."""
    rng = np.random.default_rng([9, 78, number])
    scene, solid = one_heap(int(rng.integers(1 << 30)), world)
    dish = float(rng.uniform(8.0, 12.0)) if rng.random() < 0.4 else 0.0
    return scene, replace(
        solid,
        pale=float(rng.choice([0.0, 0.003, 0.01, 0.03, 0.07, 0.15, 0.3, 0.6])),
        clumps=bool(rng.random() < 0.6),
        grain_mm=float(np.exp(rng.uniform(np.log(0.1), np.log(1.2)))),
        uneven=float(rng.choice([0.0, 0.1, 0.2])),
        shade=float(rng.uniform(0.0, 0.15)),
        wet=float(rng.choice([0.0, 0.01, 0.02])),
        dish_mm=dish,
        radius_mm=dish or solid.radius_mm,
    )


def mixed_heap(sort: str, number: int, world: World = "made-up") -> tuple[Scene, Solid]:
    """A heap after the sugar, of the habits of :func:`one_heap` and :func:`another_heap` in turns: grey silver with
    chloride left in it, with oxide, or with both; even powder or patches, with a facet here and there.
    """
    rng = np.random.default_rng([9, 80 + MIXES.index(sort), number])
    plain = one_heap if number % 2 else another_heap
    scene, solid = plain(int(rng.integers(1 << 30)), world)
    shares = [0.0, 0.003, 0.01, 0.03, 0.07, 0.15, 0.3, 0.6, 0.9, *([1.0] if sort == "silver" else [])]
    even = bool(rng.random() < 0.4)
    return scene, replace(
        solid,
        pale=0.0 if sort == "greying" else float(rng.choice(shares)),
        silver=1.0 if sort == "silver" else float(rng.choice([0.05, 0.15, 0.3, 0.5, 0.8, 0.95])),
        silver_mm=0.0 if sort == "silver" or even else float(np.exp(rng.uniform(np.log(0.05), np.log(2.0)))),
        metal=float(rng.uniform(0.2, 0.45)),
        sparkle=float(rng.choice([0.0, 0.005, 0.03])),
    )


def any_heap(sort: str, number: int, world: World = "made-up") -> tuple[Scene, Solid]:
    """The scene and the heap of one photo, of any sort of heap."""
    if sort in MIXES:
        return mixed_heap(sort, number, world)
    return (one_heap if sort == "solid" else another_heap)(number, world)
