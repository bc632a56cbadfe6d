"""Write sample photos with their truth: ``python -m tests.scenes OUT --n 8 [--kind four] [--hard]``."""

from __future__ import annotations

import json
import time
from pathlib import Path

import click
import numpy as np

from tests.scenes import random_scene, render


@click.command()
@click.argument("out", type=click.Path(path_type=Path))
@click.option("--n", default=8)
@click.option("--kind", default="four")
@click.option("--hard", is_flag=True)
@click.option("--seed", default=1)
def main(out: Path, n: int, kind: str, hard: bool, seed: int) -> None:
    """Render N random scenes into OUT."""
    out.mkdir(parents=True, exist_ok=True)
    for number in range(n):
        scene = random_scene(np.random.default_rng([seed, number]), kind, hard=hard)
        start = time.perf_counter()
        photo = render(scene)
        seconds = time.perf_counter() - start
        (out / f"{number:03d}.jpg").write_bytes(photo.data)
        strips = [
            {"kind": s.kind, "ph": s.ph, "lab": s.pad_lab.tolist(), "corners_px": s.pad_corners_px.tolist()}
            for s in photo.truth.strips
        ]
        truth = {"ph": photo.truth.ph, "fault": photo.truth.fault, "strips": strips}
        (out / f"{number:03d}.json").write_text(json.dumps(truth, indent=1))
        click.echo(f"{number:03d} pH {scene.ph:.2f} {[lamp.spectrum for lamp in scene.lamps]} {seconds:.2f} s")


if __name__ == "__main__":
    main()
