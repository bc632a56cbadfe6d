"""The shipped demo photos: a made-up batch of a made-up workshop.

``python -m tests.scenes.demo OUT --buffers DIR --windows DIR`` writes the photos with ``truth.csv`` into OUT, into the
first DIR the buffer photos with ``buffers.csv`` from which the demo's profile is made, and into the second photos of
vials and of a solid. Without OUT's photos: ``--only-windows``. One printed card, one lot of four-pad strips,
three phones, the lamps of one room; some photos are bad on purpose.
"""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path
from typing import Any

import click
import numpy as np

from tests.scenes.faults import FAULTS, corner_covered
from tests.scenes.light import Lamp
from tests.scenes.photo import render
from tests.scenes.scene import Scene, random_scene
from tests.scenes.solid import Solid, true_share, with_solid
from tests.scenes.vial import Dye, Vial, copper, hydroxide, with_vials

CARD: dict[str, Any] = {"printer_seed": 4, "sheet_seed": 40}
LOT = 2026
PHONES = (3, 5, 11)
WINDOW = Lamp("D65", 1.0, None, (0.12, -0.05))
CEILING = Lamp("LED-B3", 1.0, (300.0, -200.0, 1500.0))
DESK = Lamp("LED-B1", 0.8, (-350.0, 250.0, 600.0))
TUBE = Lamp("FL2", 1.0, (100.0, 300.0, 1700.0))

# name, pH, phone, lamps, fault: acid washes of a batch, then the last rinse; bad shots in between as they happen
SHOTS: tuple[tuple[str, float, int, tuple[Lamp, ...], str | None], ...] = (
    ("wash-01", 0.9, 0, (WINDOW,), None),
    ("wash-02", 1.7, 0, (WINDOW, CEILING), None),
    ("wash-03-blurred", 2.6, 1, (CEILING,), "blurred"),
    ("wash-03", 2.6, 1, (CEILING,), None),
    ("wash-04", 3.4, 1, (CEILING, DESK), None),
    ("wash-05-glare", 4.2, 2, (DESK,), "glare"),
    ("wash-05", 4.2, 2, (DESK,), None),
    ("wash-06-no-strip", 5.0, 0, (TUBE,), "no_strip"),
    ("wash-06", 5.0, 0, (TUBE,), None),
    ("wash-07-corner-covered", 5.6, 1, (TUBE, WINDOW), "corner"),
    ("wash-08-shadow", 6.1, 2, (WINDOW,), "shadow_edge"),
    ("wash-08", 6.1, 2, (WINDOW, DESK), None),
    ("wash-09-cut-off", 6.5, 0, (CEILING,), "card_cut_off"),
    ("wash-09", 6.5, 0, (CEILING,), None),
    ("lye-01", 12.6, 1, (TUBE,), None),
    ("lye-02", 10.1, 2, (DESK, WINDOW), None),
)


DEPTH_MM = 25.0
LIQUID = Vial(radius_mm=9.5, height_mm=33.0, depth_mm=DEPTH_MM, bubbles=1)
# name, what differs from the blank, truth in words
VIALS: tuple[tuple[str, dict[str, Any], str], ...] = (
    ("tint-1-first-wash", {"dyes": (copper(60.0, DEPTH_MM),)}, "copper 60 mg/L"),
    ("tint-2-later-wash", {"dyes": (copper(9.0, DEPTH_MM),)}, "copper 9 mg/L"),
    ("tint-3-last-wash", {}, "no copper"),
    ("tint-4-iron", {"dyes": (Dye(0.3, 400.0, 6000.0),)}, "iron yellow, no copper"),
    ("tint-5-ammonia-short", {"dyes": (Dye(0.05),), **hydroxide(0.5)}, "copper as hydroxide"),
)
SLURRY = Solid(grain_mm=0.35, radius_mm=10.5)
SHARES = {"solid-1-early": 0.3, "solid-2-later": 0.05, "solid-3-done": 0.0}


def window_shots() -> list[tuple[str, Scene, str]]:
    """Photos of the card's windows: name, scene, truth in words."""
    shots = []
    for n, (name, inside, truth) in enumerate(VIALS):
        scene = replace(
            shot(200 + n, 7.0, n % 3, (CEILING, WINDOW), None, 1200), strips=(), tilt_deg=5.0, aim=(0.0, 0.0)
        )
        scene = replace(scene, distance_mm=max(scene.distance_mm, 320.0))
        shots.append((name, with_vials(scene, replace(LIQUID, seed=n, **inside), replace(LIQUID, seed=50 + n)), truth))
    for n, (name, share) in enumerate(SHARES.items()):
        solid = replace(SLURRY, pale=share, seed=n)
        scene = replace(shot(220 + n, 7.0, n % 3, (WINDOW, CEILING), None, 1200), strips=(), tilt_deg=8.0)
        shots.append((name, with_solid(scene, solid), f"pale share {true_share(solid):.3f}"))
    return shots


def write_windows(out: Path) -> int:
    """Write the photos of the windows and ``truth.csv``; returns the bytes of all photos."""
    out.mkdir(parents=True, exist_ok=True)
    total = 0
    with (out / "truth.csv").open("w", newline="", encoding="utf-8") as file:
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(["photo", "truth"])
        for name, scene, truth in window_shots():
            data = render(scene).data
            (out / f"{name}.jpg").write_bytes(data)
            total += len(data)
            rows.writerow([f"{name}.jpg", truth])
    # The same as a table to learn a tint's response from: copper in mg/L, in a depth in mm.
    known = [(name, words.split()[1] if words.endswith("mg/L") else "0") for name, _, words in VIALS[:3]]
    lines = ["photo,mg_per_l,path_mm", *(f"{name}.jpg,{mg},{DEPTH_MM:g}" for name, mg in known)]
    (out / "standards.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return total


def shot(  # noqa: PLR0917 - one row of a table
    number: int, ph: float, which: int, lamps: tuple[Lamp, ...], fault: str | None, long_side: int = 1440
) -> Scene:
    """One photo of the batch."""
    rng = np.random.default_rng([2026, number])
    scene = random_scene(rng, "four", ph, lot_seed=LOT, **CARD, phone_seed=PHONES[which], lamps=lamps)
    flat = scene.size[0] > scene.size[1]
    bench = ("wood", "tiles", "grey")[which]
    taken = f"2026:11:25 {9 + number // 4:02d}:{15 * (number % 4):02d}:00"
    scene = replace(
        scene,
        size=(long_side, long_side * 3 // 4) if flat else (long_side * 3 // 4, long_side),
        bench=bench,
        bench_seed=which,
        taken_at=taken,
        quality=76,
    )
    scene = replace(scene, fill=max(scene.fill, 0.75))
    if fault == "corner":
        return corner_covered(scene, rng)
    return scene if fault is None else replace(FAULTS[fault](scene, rng), fault=fault)


def write(scenes: list[tuple[str, Scene]], out: Path, table: str) -> int:
    """Write photos and a CSV of ``photo,ph,fault``; returns the bytes of all photos.

    Beside faulty photos ``known.csv`` has the others, to check a calibration with.
    """
    out.mkdir(parents=True, exist_ok=True)
    total = 0
    with (out / table).open("w", newline="", encoding="utf-8") as file:
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(["photo", "ph"] if table == "buffers.csv" else ["photo", "ph", "fault"])
        for name, scene in scenes:
            data = render(scene).data
            (out / f"{name}.jpg").write_bytes(data)
            total += len(data)
            ph = "" if scene.ph is None else f"{scene.ph:.2f}"
            rows.writerow([f"{name}.jpg", ph] if table == "buffers.csv" else [f"{name}.jpg", ph, scene.fault or ""])
    if table != "buffers.csv":
        good = [f"{name}.jpg,{scene.ph:.2f}" for name, scene in scenes if scene.ph is not None and not scene.fault]
        (out / "known.csv").write_text("\n".join(["photo,ph", *good]) + "\n", encoding="utf-8")
    return total


@click.command()
@click.argument("out", type=click.Path(path_type=Path))
@click.option("--buffers", type=click.Path(path_type=Path), default=None)
@click.option("--windows", type=click.Path(path_type=Path), default=None)
@click.option("--only-windows", is_flag=True)
def main(out: Path, buffers: Path | None, windows: Path | None, only_windows: bool) -> None:
    """Render the demo photos into OUT."""
    if windows is not None:
        click.echo(f"{len(VIALS) + len(SHARES)} photos of windows, {write_windows(windows) / 1e6:.1f} MB")
    if only_windows:
        return
    scenes = [(f"{n + 1:02d}-{name}", shot(n, *rest)) for n, (name, *rest) in enumerate(SHOTS)]
    click.echo(f"{len(scenes)} photos, {write(scenes, out, 'truth.csv') / 1e6:.1f} MB")
    if buffers is not None:
        taught = []
        for n, ph in enumerate(np.repeat(np.arange(0.0, 14.01, 1.0), 2)):
            lamps = ((WINDOW,), (CEILING, DESK), (TUBE,))[n % 3]
            taught.append((f"buffer-{ph:04.1f}-{n % 2}", shot(100 + n, float(ph), n % 2, lamps, None, 1040)))
        click.echo(f"{len(taught)} buffer photos, {write(taught, buffers, 'buffers.csv') / 1e6:.1f} MB")


if __name__ == "__main__":
    main()
