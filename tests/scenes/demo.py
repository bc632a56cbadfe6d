"""The shipped demo photos: a made-up batch of a made-up workshop.

``python -m tests.scenes.demo OUT --buffers DIR`` writes the photos with ``truth.csv`` into OUT and, into DIR, the
buffer photos with ``buffers.csv`` from which the demo's profile is made. One printed card, one lot of four-pad strips,
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
    """Write photos and a CSV of ``photo,ph,fault``; returns the bytes of all photos."""
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
    return total


@click.command()
@click.argument("out", type=click.Path(path_type=Path))
@click.option("--buffers", type=click.Path(path_type=Path), default=None)
def main(out: Path, buffers: Path | None) -> None:
    """Render the demo photos into OUT."""
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
