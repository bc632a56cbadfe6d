"""The study's tints: pairs of vials that are not alike, phones with standards and without, haze and brown."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from calibration.response import KnownTint, fit_response
from stripread.errors import CallError, Refused
from stripread.tint.cells import SecondPhoto
from stripread.tint.estimate import estimate_tint
from stripread.tint.profile import TintProfile, default_response
from stripread.tint.read import TintRequest, TintTrace, measure_cells, measure_tint, trace_tint
from tests.cells_study import glass, pair_of
from tests.judged import NAN
from tests.scenes import Scene, render
from tests.scenes.measured import World
from tests.scenes.vessels import with_vessels
from tests.scenes.vial import Dye, Vial, copper, random_pair
from tests.tint_cases import some_copper, tint_scene
from tests.window_study.rows import Row, tint_outcome

COPPER_EVERY = 3  # one pair in so many is also photographed with copper in it, and swapped
STANDARDS = (0.0, 0.0, 0.0, 20.0, 50.0, 100.0, 200.0)  # mg/L
STANDARD_MM = 20.0
READS = 8  # of a setup by the phone that took its standards, and as many by others
SOURCES = ((50.0, 612.0), (55.0, 615.0), (60.0, 612.0), (77.0, 640.0))  # absorptivity and band, as of ``some_copper``
VEILS = ("hazy sample", "brown sample", "brown in both", "hazy blank", "brown blank")


def row(case: tuple[str, World, str, int], how: str, what: tuple[str, float, float], trace: TintTrace) -> Row:
    """The row of one reading. case: code, world, part, number; what: name, copper in mg/L, depth in mm."""
    assert trace.reading is not None
    signal = NAN if trace.estimate is None else trace.estimate.signal
    return Row(*case, how, *what, **tint_outcome(trace.reading, signal))  # type: ignore[arg-type]


def pairs(code: str, number: int, world: World) -> list[Row]:
    """One pair: nothing in it, read alone and with a cell blank; each third also swapped, and with copper in it."""
    pair = pair_of(number, world)
    whole = number % COPPER_EVERY == 0
    empty = pair.shot(pair.sample, pair.blank, 0)
    ways: dict[str, SecondPhoto | None] = {
        "none": None,
        "blank": measure_cells(pair.shot(pair.sample, pair.blank, 1), "blank"),
    }
    swap = {"swapped": measure_cells(pair.shot(pair.blank, pair.sample, 2), "swapped")} if whole else {}
    contents = [("nothing", 0.0, empty, {**ways, **swap})]
    if whole:
        milligrams, dye = some_copper(np.random.default_rng([23, number]), pair.path_mm)
        filled = pair.filled(dye)
        swapped = {"swapped": measure_cells(pair.shot(pair.blank, filled, 2), "swapped")}
        contents.append(("copper", milligrams, pair.shot(filled, pair.blank, 3), {**ways, **swapped}))
    case, path = (code, world, "pairs", number), pair.path_mm
    return [
        row(case, how, (name, truth, path), trace_tint(photo, TintRequest(path, cells=cells)))
        for name, truth, photo, given in contents
        for how, cells in given.items()
    ]


def veils(code: str, number: int, world: World) -> list[Row]:
    """One photo without copper, where sample or blank is hazy or brown, from weak to strong; kinds in turns."""
    rng = np.random.default_rng([24, number])
    kind = VEILS[number % len(VEILS)]
    path = float(rng.choice((10.0, 20.0, 30.0)))
    scene = tint_scene(rng, path, world)
    sample, blank = (replace(vial, **glass(rng)) for vial in random_pair(rng, (), path))  # type: ignore[arg-type]
    strength = float(np.exp(rng.uniform(np.log(0.005), np.log(0.5))))
    changed = {"haze": strength} if "hazy" in kind else {"dyes": (Dye(1.5 * strength, 400.0, 6000.0),)}

    def veiled(vial: Vial) -> Vial:
        dyes = (*vial.dyes, *changed.get("dyes", ()))  # type: ignore[misc]
        return replace(vial, dyes=dyes, haze=float(changed.get("haze", 0.0)))  # type: ignore[arg-type]

    if "blank" not in kind:
        sample = veiled(sample)
    if "sample" not in kind:
        blank = veiled(blank)
    data = render(with_vessels(scene, sample, blank)).data
    case, what = (code, world, "veils", number), (kind, 0.0, path)
    return [row(case, f"{strength:.4f}", what, trace_tint(data, TintRequest(path)))]


def standards(code: str, setup: int, world: World) -> list[Row]:
    """One laboratory: a profile of its standards, then readings by the same phone and by others, with it and without.

    Absorptivity and band are the laboratory's own: one of the sources'.
    """
    rng = np.random.default_rng([25, setup])
    epsilon, peak = SOURCES[setup % len(SOURCES)]
    own = int(rng.integers(1 << 30))

    def photo(milligrams: float, path: float, phone: int | None) -> bytes:
        scene: Scene = tint_scene(rng, path, world)
        dyes = (copper(milligrams, path, epsilon, peak),) if milligrams else ()
        vials = random_pair(rng, dyes, path)
        scene = scene if phone is None else replace(scene, phone_seed=phone)
        scene = replace(scene, camera=f"phone {scene.phone_seed}")
        return render(with_vessels(scene, *vials)).data

    known = []
    for n, milligrams in enumerate(STANDARDS):
        data, trace = photo(milligrams, STANDARD_MM, own), TintTrace()
        try:
            found = estimate_tint(measure_tint(data, trace))
        except Refused:
            continue
        known.append(KnownTint(milligrams, STANDARD_MM, found.absorbance, found.noise_sd, "", str(n), f"phone {own}"))
    try:
        profile: TintProfile = fit_response(known).profile
    except CallError:
        return [Row(code, world, "standards", setup, "no profile", "", 0.0, NAN, "refused", "", "", "")]
    rows = []
    for n in range(2 * READS):
        path = float(rng.choice((10.0, 20.0, 30.0)))
        milligrams = float(np.exp(rng.uniform(np.log(2.0), np.log(300.0))))
        who = "own phone" if n % 2 == 0 else "other phone"
        data = photo(milligrams, path, own if n % 2 == 0 else None)
        for how, given in ((f"{who}, standards", profile), (f"{who}, none", default_response())):
            trace = trace_tint(data, TintRequest(path, given))
            rows.append(row((code, world, "standards", setup), how, ("copper", milligrams, path), trace))
    return rows
