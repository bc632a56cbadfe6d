"""How well tints and solids are read, on rendered photos: ``python -m tests.tint_study [--n 60] [--sort blank …]``.

blank: nothing there. copper: 1 to 500 mg/L, absorptivities and bands as the sources have them. limit: 8 mg/L at 10 mm
and 3 mg/L at 30 mm. other: iron yellow, nickel violet, haze, coloured reflections, from weak to strong. cloud: the
pale-blue hydroxide. well, beaker, tube, flat: other vessels, a third with nothing in them, half with copper. solid:
pale shares from nothing to nearly all, grains from 0.06 to 1 mm. heap: the same of other habits, ragged, shaded, wet,
in a dish. silver: chloride left in grey silver; greying: oxide turning silver; three: all three. ``--first`` counts
from another number: photos that no constant was chosen on.
"""

from __future__ import annotations

import click
import cv2
import numpy as np
from numpy.typing import NDArray

from stripread.results import TintReading
from stripread.solid.read import read_solid
from stripread.tint.estimate import CALLED, ONE_IN_20
from stripread.tint.read import TintRequest, TintTrace, trace_tint
from stripread.tint.spectra import copper_curves, per_mg_l_mm
from tests.scenes import Scene, render
from tests.scenes.measured import WORLDS, World
from tests.scenes.phone import phone
from tests.scenes.solid import true_share, with_solid
from tests.tint_cases import HEAPS, PATHS_MM, SORTS, VESSELS, any_heap, tint_case

Row = tuple[float, float, str, TintReading, float]


def floor_mg(scene: Scene, trace: TintTrace, path_mm: float) -> float:
    """Detection limit (mg/L) that shot and read noise of the same pixels alone would give, everything else known."""
    eye, vials, pose = phone(scene.phone_seed, scene.world), trace.vials, trace.card.pose
    assert vials is not None
    assert vials.sample is not None
    assert vials.blank is not None
    assert pose is not None
    per_mm = pose.px_per_mm * pose.photo.scale
    pixels = [vial.area_mm2 * per_mm**2 for vial in (vials.sample, vials.blank)]
    one = 1.0 / (eye.electrons * scene.level) + (eye.read_noise / scene.level) ** 2  # variance of ln, one pixel
    slope = copper_curves().slope.mean(axis=0)
    sd = float(np.sqrt(one * sum(1.0 / n for n in pixels)) / np.linalg.norm(slope))
    return (CALLED + ONE_IN_20) * sd / per_mg_l_mm() / path_mm


def one_tint(sort: str, number: int, world: World = "made-up") -> Row:
    """Render and read one photo: (mg/L, mm, what it is, reading, noise floor)."""
    case = tint_case(sort, number, world)
    trace = trace_tint(render(case.scene).data, TintRequest(case.path_mm))
    assert trace.reading is not None
    floor = float("nan") if trace.estimate is None else floor_mg(case.scene, trace, case.path_mm)
    return case.mg_per_l, case.path_mm, case.name, trace.reading, floor


def study_tint(sort: str, first: int, count: int, *, verbose: bool, world: World) -> list[Row]:
    """Read ``count`` photos of one sort and print what came of them."""
    rows = []
    for number in range(first, first + count):
        rows.append(one_tint(sort, number, world))
        milligrams, path, name, reading, _ = rows[-1]
        if verbose:
            codes = [r.code for r in reading.reasons if r.severity != "note"]
            words = f"{number} {name} {milligrams:.1f} mg/L {path:.0f} mm: {reading.decision} {reading.mg_per_l} "
            click.echo(
                words + f"{reading.interval} limit {reading.detection_limit} {reading.stamp.seconds:.2f} s {codes}"
            )
    refused = sum(r[3].status == "refused" for r in rows)
    click.echo(f"{sort}: {count} photos, {refused} refused")
    for name in sorted({r[2] for r in rows}):
        here = [r[3] for r in rows if r[2] == name and r[3].status != "refused"]
        told = [
            f"{sum(r.decision == d for r in here)} {d} ({sum(r.decision == d and r.status == 'ok' for r in here)} ok)"
            for d in ("copper", "none seen", "undecided")
        ]
        click.echo(f"  {name}: {', '.join(told)}; {sum(r.interval is None for r in here)} without a concentration")
    known = [r for r in rows if r[2] in {"blank", "copper", "limit"}]
    tell_limits(known, sort not in VESSELS)
    return known


def tell_limits(rows: list[Row], paths: bool) -> None:
    """Coverage, what is called at the stated limit, and the limits themselves, of photos with copper or nothing."""
    used = [r for r in rows if r[3].interval is not None]
    held = [r[3].interval[0] - 1e-9 <= r[0] <= r[3].interval[1] + 1e-9 for r in used if r[3].interval is not None]
    if not used:
        return
    click.echo(f"  interval holds the truth: {np.mean(held):.3f} of {len(used)}")
    limits = [(r[0] / (r[3].detection_limit or np.inf), r[3].decision == "copper") for r in used]
    for low, high, words in ((1.0, np.inf, "above"), (0.8, 1.25, "about")):
        called = [copper for over, copper in limits if low < over < high]
        if called:
            click.echo(f"  called copper {words} the stated limit: {np.mean(called):.3f} of {len(called)}")
    for path in PATHS_MM if paths else ():
        here = [(r[3].detection_limit or np.inf, r[4]) for r in used if r[1] == path]
        if here:
            stated = [limit for limit, _ in here]
            click.echo(
                f"  detection limit at {path:.0f} mm: median {np.median(stated):.2f}, nine of ten below "
                f"{np.quantile(stated, 0.9):.2f} mg/L; sensor noise alone {np.median([noise for _, noise in here]):.2f}"
            )


def study_solid(sort: str, first: int, count: int, *, verbose: bool, world: World) -> None:
    """Read ``count`` photos of heaps and print errors, coverage, and how the readings ended."""
    rows, ends = [], []
    for number in range(first, first + count):
        scene, solid = any_heap(sort, number, world)
        reading = read_solid(render(with_solid(scene, solid)).data)
        codes = [r.code for r in reading.reasons if r.severity != "note"]
        ends.append((reading.status, "no_solid" in codes))
        truth = true_share(solid)
        if verbose or reading.status == "refused":
            click.echo(
                f"{number} {truth:.4f} grains {solid.grain_mm:.2f} mm silver {solid.silver:.2f} of {solid.metal:.2f} "
                f"in {solid.silver_mm:.2f} mm -> {reading.pale_fraction} {reading.pale_interval} {codes}"
            )
        if reading.pale_fraction is not None and reading.pale_interval is not None:
            rows.append((truth, reading.pale_fraction, *reading.pale_interval, solid.pale, reading.status == "ok"))
    told = ", ".join(f"{sum(e == word for e, _ in ends)} {word}" for word in ("ok", "doubtful", "refused"))
    click.echo(f"{sort}: {count} photos: {told}, {sum(empty for _, empty in ends)} no_solid")
    if rows:
        _tell_shares(np.array(rows))


def _tell_shares(table: NDArray[np.float64]) -> None:
    """Errors and coverage of rows (n, 6): true share, share, interval's ends, share meant, status ok."""
    error = np.abs(table[:, 1] - table[:, 0])
    few, sure = table[:, 0] < 0.1, table[:, 5] > 0
    held = (table[:, 2] <= table[:, 0] + 1e-9) & (table[:, 0] <= table[:, 3] + 1e-9)
    click.echo(f"  mean error below 0.1: {_mean(error[few])}, above: {_mean(error[~few])}")
    click.echo(
        f"  interval holds the truth: {_mean(held)} ({_mean(held[few])} below 0.1, {_mean(held[~few])} above; "
        f"{_mean(held[sure])} of {sure.sum()} ok); width, median: {np.median(table[:, 3] - table[:, 2]):.3f}; "
        f"none pale read: {table[table[:, 4] == 0, 1].max(initial=0.0):.4f} at most"
    )


def _mean(values: NDArray[np.float64] | NDArray[np.bool_]) -> str:
    return f"{values.mean():.4f}" if len(values) else "-"


@click.command()
@click.option("--n", default=60, help="Photos of each sort.")
@click.option("--first", default=0, help="Number of the first.")
@click.option("--sort", "--sorts", "sorts", multiple=True, type=click.Choice(SORTS), help="Only these (default: all).")
@click.option("--world", type=click.Choice(WORLDS), default="made-up", show_default=True, help="Cameras and lamps.")
@click.option("--verbose", is_flag=True)
def main(n: int, first: int, sorts: tuple[str, ...], world: World, verbose: bool) -> None:
    """Run the study; about a second a photo."""
    cv2.setNumThreads(1)
    known: list[Row] = []
    for sort in sorts or SORTS:
        if sort in HEAPS:
            study_solid(sort, first, n, verbose=verbose, world=world)
        else:
            known += study_tint(sort, first, n, verbose=verbose, world=world)
    if known:
        click.echo("copper or nothing, all of the above together:")
        tell_limits(known, paths=False)


if __name__ == "__main__":
    main()
