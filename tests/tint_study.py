"""How well tints and solids are read, on rendered photos: ``python -m tests.tint_study [--n 60] [--sort blank …]``.

blank: nothing there. copper: 1 to 500 mg/L, absorptivities and bands as the sources have them. limit: 8 mg/L at 10 mm
and 3 mg/L at 30 mm. other: iron yellow, nickel violet, haze, coloured reflections, from weak to strong. cloud: the
pale-blue hydroxide. solid: pale shares from nothing to nearly all, grains from 0.06 to 1 mm.
"""

from __future__ import annotations

from dataclasses import replace

import click
import cv2
import numpy as np

from stripread.results import TintReading
from stripread.tint import ONE_IN_20, ONE_IN_100
from stripread.tintmodel import copper_curves, per_mg_l_mm
from stripread.windows_pipeline import TintAsk, TintTrace, read_solid, trace_tint
from tests.scenes import Scene, random_scene, render
from tests.scenes.phone import phone
from tests.scenes.solid import Solid, true_share, with_solid
from tests.scenes.spectra import WAVELENGTHS
from tests.scenes.vial import Dye, copper, hydroxide, random_pair, with_vials

PATHS_MM = (10.0, 20.0, 30.0, 50.0, 100.0)
SORTS = ("blank", "copper", "limit", "other", "solid", "cloud")


def tint_scene(rng: np.random.Generator, path_mm: float) -> Scene:
    """A photo of vials as somebody careful takes it: nearly straight from above, farther off for deep vials."""
    scene = random_scene(rng, "four", strips=())
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


def floor_mg(scene: Scene, trace: TintTrace, path_mm: float) -> float:
    """Detection limit (mg/L) that shot and read noise of the same pixels alone would give, everything else known."""
    eye, vials, pose = phone(scene.phone_seed), trace.vials, trace.card.pose
    assert vials is not None
    assert vials.sample is not None
    assert vials.blank is not None
    assert pose is not None
    per_mm = pose.px_per_mm * pose.photo.scale
    pixels = [vial.area_mm2 * per_mm**2 for vial in (vials.sample, vials.blank)]
    one = 1.0 / (eye.electrons * scene.level) + (eye.read_noise / scene.level) ** 2  # variance of ln, one pixel
    slope = copper_curves().slope.mean(axis=0)
    sd = float(np.sqrt(one * sum(1.0 / n for n in pixels)) / np.linalg.norm(slope))
    return (ONE_IN_100 + ONE_IN_20) * sd / per_mg_l_mm() / path_mm


def one_tint(sort: str, number: int) -> tuple[float, float, str, TintReading, float]:
    """Render and read one photo: (mg/L, mm, what it is, reading, noise floor)."""
    rng = np.random.default_rng([9, SORTS.index(sort), number])
    path = float(rng.choice((10.0, 30.0) if sort == "limit" else PATHS_MM))
    milligrams, name = 0.0, sort
    dyes: tuple[Dye, ...] = ()
    fixed: dict[str, object] = {}
    if sort == "copper":
        milligrams = float(np.exp(rng.uniform(0.0, np.log(500.0))))
        epsilon, peak = ((50, 612), (55, 615), (60, 612), (77, 640))[int(rng.integers(4))]
        dyes = (copper(milligrams, path, float(epsilon), float(peak)),)
    elif sort == "limit":
        milligrams = 8.0 if path == 10.0 else 3.0
        dyes = (copper(milligrams, path),)
    elif sort == "other":
        name, dyes, fixed = other_colour(rng)
    elif sort == "cloud":
        dyes, fixed = (Dye(0.05),), hydroxide(float(rng.uniform(0.15, 0.6)))
    scene = tint_scene(rng, path)
    trace = trace_tint(render(with_vials(scene, *random_pair(rng, dyes, path, **fixed))).data, TintAsk(path))
    assert trace.reading is not None
    floor = float("nan") if trace.estimate is None else floor_mg(scene, trace, path)
    return milligrams, path, name, trace.reading, floor


def study_tint(sort: str, count: int, verbose: bool) -> None:
    """Read ``count`` photos of one sort and print what came of them."""
    rows = []
    for number in range(count):
        milligrams, path, name, reading, floor = one_tint(sort, number)
        rows.append((milligrams, path, name, reading, floor))
        if verbose:
            codes = [r.code for r in reading.reasons if r.severity != "note"]
            words = f"{number} {name} {milligrams:.1f} mg/L {path:.0f} mm: {reading.decision} {reading.mg_per_l} "
            click.echo(
                words + f"{reading.interval} limit {reading.detection_limit} {reading.stamp.seconds:.2f} s {codes}"
            )
    used = [r for r in rows if r[3].interval is not None]
    refused = sum(r[3].status == "refused" for r in rows)
    click.echo(f"{sort}: {count} photos, {refused} refused, {count - len(used) - refused} without a concentration")
    for decision in ("copper", "none seen", "undecided"):
        found = [r for r in rows if r[3].decision == decision and r[3].status != "refused"]
        sure = sum(r[3].status == "ok" for r in found)
        click.echo(f"  {decision}: {len(found)} ({sure} with status ok) {sorted({r[2] for r in found})}")
    if sort not in {"other", "cloud"} and used:
        held = [r[3].interval[0] - 1e-9 <= r[0] <= r[3].interval[1] + 1e-9 for r in used]
        click.echo(f"  interval holds the truth: {np.mean(held):.3f}")
        above = [r for r in used if r[0] > r[3].detection_limit]
        if above:
            click.echo(
                f"  called copper above the stated limit: {np.mean([r[3].decision == 'copper' for r in above]):.3f} "
                f"of {len(above)}"
            )
    for path in PATHS_MM:
        limits = [r[3].detection_limit for r in used if r[1] == path]
        if limits:
            click.echo(
                f"  detection limit at {path:.0f} mm: median {np.median(limits):.2f}, nine of ten below "
                f"{np.quantile(limits, 0.9):.2f} mg/L; sensor noise alone "
                f"{np.median([r[4] for r in used if r[1] == path]):.2f}"
            )


def one_heap(number: int) -> tuple[Scene, Solid]:
    """The scene and the heap of one photo."""
    rng = np.random.default_rng([9, 77, number])
    scene = random_scene(rng, "four", strips=(), fill=float(rng.uniform(0.75, 0.93)))
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


def study_solid(count: int, verbose: bool) -> None:
    """Read ``count`` photos of heaps and print errors and coverage."""
    rows = []
    for number in range(count):
        scene, solid = one_heap(number)
        reading = read_solid(render(with_solid(scene, solid)).data)
        if reading.pale_fraction is None or reading.pale_interval is None:
            click.echo(f"  {number} refused: {[r.code for r in reading.reasons]}")
            continue
        truth = true_share(solid)
        rows.append((truth, reading.pale_fraction, *reading.pale_interval, solid.pale))
        if verbose:
            click.echo(
                f"{number} {truth:.4f} grains {solid.grain_mm:.2f} mm -> {reading.pale_fraction:.4f} "
                f"{reading.pale_interval}"
            )
    table = np.array(rows)
    error = np.abs(table[:, 1] - table[:, 0])
    few = table[:, 0] < 0.1
    held = (table[:, 2] <= table[:, 0] + 1e-9) & (table[:, 0] <= table[:, 3] + 1e-9)
    click.echo(
        f"solid: {len(table)} read; mean error below 0.1: {error[few].mean():.4f}, above: {error[~few].mean():.4f}"
    )
    click.echo(
        f"  interval holds the truth: {held.mean():.3f}; "
        f"all dark read: {table[table[:, 4] == 0, 1].max(initial=0.0):.4f} at most"
    )


@click.command()
@click.option("--n", default=60, help="Photos of each sort.")
@click.option("--sort", "sorts", multiple=True, type=click.Choice(SORTS), help="Only these (default: all).")
@click.option("--verbose", is_flag=True)
def main(n: int, sorts: tuple[str, ...], verbose: bool) -> None:
    """Run the study; about a second a photo."""
    cv2.setNumThreads(1)
    for sort in sorts or SORTS:
        if sort == "solid":
            study_solid(n, verbose)
        else:
            study_tint(sort, n, verbose)


if __name__ == "__main__":
    main()
