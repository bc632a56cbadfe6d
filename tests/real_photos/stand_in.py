"""A rendered stand-in of the set that ``docs/real-photos.md`` plans, to rehearse with.

``python -m tests.real_photos.stand_in FOLDER`` renders photos and writes ``photos.csv`` and ``strip.toml`` beside them.
Two printers, three phones, bottles and lamps; the meter errs by what the table says.
"""

from __future__ import annotations

import csv
import os
import shutil
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import click
import numpy as np

from stripread.ph.buffers import buffer_ph
from tests.real_photos.table import COLUMNS, TABLE
from tests.scenes.light import Lamp
from tests.scenes.photo import render
from tests.scenes.scene import Scene, random_scene

KIND = Path(__file__).parents[1] / "scenes" / "kinds" / "four.toml"
TEMP_C = 21.5
METER_SD = 0.03
# Seeds of what is drawn from them
PRINTERS = {"inkjet": 4, "laser": 9}
BOTTLES = {"lot 1": 2026, "lot 2": 2027, "lot 3": 2028}
PHONES = {"phone A": 3, "phone B": 5, "phone C": 11}
LAMPS = {
    "window": Lamp("D65", 1.0, None, (0.12, -0.05)),
    "desk LED": Lamp("LED-B1", 0.8, (-350.0, 250.0, 600.0)),
    "tube": Lamp("FL2", 1.0, (100.0, 300.0, 1700.0)),
}
TABLED = ("phthalate", "phosphate", "borax", "carbonate")
LABELLED = {"buffer 2": 2.0, "buffer 12": 12.0}
BETWEEN = (1.2, 3.0, 5.0, 6.0, 8.0, 11.0)  # mixed to calibrate
ASKED = (2.5, 5.5, 7.5, 8.6, 10.6)  # mixed to read


@dataclass(frozen=True)
class Taken:
    """One photo of the set: its line of the table, the true pH, and the number it is drawn from."""

    cells: dict[str, Any]
    ph: float
    number: int


def plan(between: Sequence[float] = BETWEEN, asked: Sequence[float] = ASKED, seed: int = 0) -> list[Taken]:
    """Every photo of the set: two lamps a buffer on each card, then everything by everything."""
    rng = np.random.default_rng([seed, 7])
    taught = [_liquid(name, buffer_ph(name, TEMP_C)[0], "table") for name in TABLED]
    taught += [_liquid(name, ph, "label", 0.02, rng) for name, ph in LABELLED.items()]
    taught += [_liquid(f"mix {ph:g}", ph, "meter", METER_SD, rng) for ph in between]
    out: list[Taken] = []

    def take(use: str, liquid: tuple[dict[str, Any], float], **of: str) -> None:
        number = len(out)
        cells = {"photo": f"{use}-{number:03}.jpg", "use": use, "reading": "ph", "kind": "strip.toml"}
        out.append(Taken({**cells, "profile": of["printer"], **of, **liquid[0]}, liquid[1], 1000 * seed + number))

    for printer in PRINTERS:
        for liquid in taught:
            for lamp in list(LAMPS)[:2]:
                take("calibrate", liquid, printer=printer, bottle="lot 1", phone="phone A", lamp=lamp)
    for liquid in [_liquid(f"mix {ph:g}", ph, "meter", METER_SD, rng) for ph in asked]:
        for printer in PRINTERS:
            for bottle in BOTTLES:
                for lamp in LAMPS:
                    for phone in PHONES:
                        take("read", liquid, printer=printer, bottle=bottle, phone=phone, lamp=lamp)
    return out


def _liquid(
    name: str, ph: float, by: str, sd: float = 0.0, rng: np.random.Generator | None = None
) -> tuple[dict[str, Any], float]:
    """A liquid's cells of the table, and its true pH."""
    cells: dict[str, Any] = {"liquid": name, "temp_c": TEMP_C, "truth_by": by}
    if rng is not None:
        cells |= {"truth": f"{ph + rng.normal(0.0, sd):.2f}", "truth_sd": sd}
    return {**cells, "meter": "bench meter"} if by == "meter" else cells, ph


def scene_of(taken: Taken, long_side: int) -> Scene:
    """The photo to be rendered."""
    cells = taken.cells
    printer = PRINTERS[cells["printer"]]
    fixed = {"lot_seed": BOTTLES[cells["bottle"]], "printer_seed": printer, "sheet_seed": printer}
    rng = np.random.default_rng([taken.number, 8])
    scene = random_scene(
        rng, "four", taken.ph, **fixed, phone_seed=PHONES[cells["phone"]], lamps=(LAMPS[cells["lamp"]],)
    )
    wide, high = (long_side, long_side * 3 // 4)[:: 1 if scene.size[0] > scene.size[1] else -1]
    return replace(scene, size=(wide, high), fill=max(scene.fill, 0.75))


def write_set(folder: Path, photos: Sequence[Taken], long_side: int, workers: int = 1) -> None:
    """Render the photos into a folder, and write their table and the strip's file beside them."""
    folder.mkdir(parents=True, exist_ok=True)
    shutil.copy(KIND, folder / "strip.toml")
    with (folder / TABLE).open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, COLUMNS)
        writer.writeheader()
        writer.writerows(taken.cells for taken in photos)
    jobs = [(folder, taken, long_side) for taken in photos]
    if workers <= 1:
        for job in jobs:
            _render(job)
        return
    with ProcessPoolExecutor(workers, get_context("spawn")) as pool:
        list(pool.map(_render, jobs))


def _render(job: tuple[Path, Taken, int]) -> None:
    import cv2

    cv2.setNumThreads(1)
    folder, taken, long_side = job
    (folder / str(taken.cells["photo"])).write_bytes(render(scene_of(taken, long_side)).data)


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--side", default=1200, show_default=True, help="Pixels of the long side.")
@click.option("--between", default=len(BETWEEN), show_default=True, help="Mixed liquids that calibrate, 0 to 6.")
@click.option("--seed", default=0, show_default=True)
@click.option("--workers", default=os.cpu_count() or 1, show_default=True)
def main(folder: Path, side: int, between: int, seed: int, workers: int) -> None:
    """Render a whole set into FOLDER."""
    photos = plan(BETWEEN[:between], seed=seed)
    write_set(folder, photos, side, workers)
    click.echo(f"{len(photos)} photos; now: python -m tests.real_photos {folder}")


if __name__ == "__main__":
    main()
