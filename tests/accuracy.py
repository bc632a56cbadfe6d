"""How well the whole instrument does on rendered photos: `python -m tests.accuracy --kind four --setups 20 --reads 40`.

A setup is one printer, one printed sheet, one lot of strips and one calibrating phone; its profile is made from two
photos a buffer under two lights each, by the code that `stripread calibrate` runs. It is then asked to read photos by
other phones in other lights, of other strips. Prints the error, the coverage of the 95 % interval, refusals and every
confidently wrong answer (status ok, off by more than 0.5, truth outside the interval).
``SCENE_SHELF=FOLDER`` keeps the photos for the next run.
"""

from __future__ import annotations

import argparse
import csv
import os
import sys
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from calibration.card_estimate import estimate_card
from calibration.gather import known_pad
from calibration.learn import fit_all, make_profile
from stripread.errors import Refused
from stripread.ph.profile import Profile
from stripread.ph.quality import KnownPhoto
from stripread.ph.read import read_ph
from stripread.strip.measure import measure
from tests.scenes.measured import WORLDS, World
from tests.scenes.scene import Scene, random_scene
from tests.scenes.shelf import photo_bytes
from tests.scenes.strips import kind as strip_kind


@dataclass(frozen=True)
class Row:
    """One photo read."""

    setup: int
    ph: float
    read: float
    low: float
    high: float
    status: str
    misfit: float
    lamps: str
    hard: bool
    codes: str
    draw: int

    @property
    def covered(self) -> bool:
        return self.low <= self.ph <= self.high


def buffers(kind: str, step: float = 1.0) -> np.ndarray:
    low, high = strip_kind(kind).range
    return np.arange(low + 0.5 * ((high - low) % step), high + 1e-9, step)


def buffer_scenes(
    kind: str, setup: int, step: float = 1.0, per_point: int = 2, one_phone: bool = True, *, world: World = "made-up"
) -> Iterator[tuple[float, Scene]]:
    """pH and scene of every photo that a setup's profile is made from."""
    fixed: dict[str, Any] = {"printer_seed": setup, "sheet_seed": setup, "lot_seed": setup, "world": world}
    if one_phone:
        fixed["phone_seed"] = setup
    for n, ph in enumerate(np.repeat(buffers(kind, step), per_point)):
        yield float(ph), random_scene(np.random.default_rng([setup, n, 77]), kind=kind, ph=float(ph), **fixed)


def profile_of(
    kind: str, setup: int, step: float = 1.0, per_point: int = 2, one_phone: bool = True, *, world: World = "made-up"
) -> Profile:
    """The profile of one setup, from rendered buffer photos."""
    seen = []
    for n, (ph, scene) in enumerate(buffer_scenes(kind, setup, step, per_point, one_phone, world=world)):
        try:
            seen.append((f"buffer{n}", measure(photo_bytes(scene), strip_kind(kind)), float(ph)))
        except Refused as refused:
            print(f"setup {setup}: buffer pH {ph:g} left out: {refused.reason.code}", file=sys.stderr)
    card = estimate_card([measured.samples for _, measured, _ in seen])
    known = []
    for name, measured, ph in seen:
        known.append(known_pad(measured, card, ph, 0.01, name))
    fit, evidence = fit_all(known, None, strip_kind(kind))
    photos = [KnownPhoto(k.photo_name, k.photo_sha256, k.ph, k.ph_sd, k.taken) for k in known]
    return make_profile(strip_kind(kind), fit, evidence, photos, card)


def scene_of(
    kind: str,
    setup: int,
    draw: int,
    hard: bool = False,
    lot: int | None = None,
    *,
    phone: int | None = None,
    world: World = "made-up",
) -> Scene:
    rng = np.random.default_rng([setup, draw, 99])
    fixed: dict[str, Any] = {"printer_seed": setup, "sheet_seed": setup, "world": world}
    fixed["lot_seed"] = setup if lot is None else lot
    if phone is not None:
        fixed["phone_seed"] = phone
    return random_scene(rng, kind=kind, hard=hard, **fixed)


def run_setup(job: tuple[str, int, int, float, float, bool, bool, World]) -> list[Row]:
    kind, setup, reads, hard_share, step, other_lot, own_phone, world = job
    import cv2

    cv2.setNumThreads(1)
    profile = profile_of(kind, setup, step, world=world)
    rows = []
    for draw in range(reads):
        hard = (draw + 1) % max(1, round(1 / hard_share)) == 0 if hard_share else False
        lot, phone = 10_000 + setup * 100 + draw if other_lot else None, setup if own_phone else None
        scene = scene_of(kind, setup, draw, hard, lot, phone=phone, world=world)
        got = read_ph(photo_bytes(scene), profile)
        low, high = got.interval or (float("nan"), float("nan"))
        lamps = "+".join(sorted({lamp.spectrum for lamp in scene.lamps}))
        codes = " ".join(r.code for r in got.reasons)
        nan = float("nan")
        rows.append(
            Row(
                setup,
                scene.ph,
                got.ph if got.ph is not None else nan,
                low,
                high,
                got.status,
                got.misfit or nan,
                lamps,
                hard,
                codes,
                draw,
            )
        )
    return rows


def report(rows: list[Row], label: str) -> str:
    read = [r for r in rows if r.status != "refused"]
    if not read:
        return f"{label}: nothing was read"
    error = np.abs([r.read - r.ph for r in read])
    covered = np.mean([r.covered for r in read])
    wrong = [r for r in read if r.status == "ok" and abs(r.read - r.ph) > 0.5 and not r.covered]
    refused = [r for r in rows if r.status == "refused"]
    width = np.mean([r.high - r.low for r in read])
    lines = [
        f"{label}: {len(rows)} photos, mean |error| {error.mean():.3f}, "
        f"99th percentile {np.quantile(error, 0.99):.3f}, "
        f"coverage {covered:.1%}, mean width {width:.2f}, refused {len(refused) / len(rows):.1%}, "
        f"doubtful {np.mean([r.status == 'doubtful' for r in rows]):.1%}, confidently wrong {len(wrong)}",
        f"  reasons: {dict(Counter(c for r in rows for c in r.codes.split()))}",
    ]
    lines += [
        f"  wrong: setup {r.setup} draw {r.draw} pH {r.ph:.2f} read {r.read:.2f} [{r.low:.2f}, {r.high:.2f}] {r.lamps}"
        for r in wrong
    ]
    return "\n".join(lines)


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    ask.add_argument("--kind", default="four")
    ask.add_argument("--setups", type=int, default=6)
    ask.add_argument("--first", type=int, default=0)
    ask.add_argument("--reads", type=int, default=20)
    ask.add_argument("--hard", type=float, default=0.0, help="share of hard scenes")
    ask.add_argument("--step", type=float, default=1.0, help="pH between buffers")
    ask.add_argument("--other-lot", action="store_true", help="read strips of other lots than the calibrated one")
    ask.add_argument("--own-phone", action="store_true", help="read with the phone that the profile was made with")
    ask.add_argument("--world", choices=WORLDS, default="made-up", help="made-up, or a half of the measured world")
    ask.add_argument("--workers", type=int, default=os.cpu_count())
    ask.add_argument("--csv", help="write every row here")
    given = ask.parse_args()
    jobs = [
        (
            given.kind,
            given.first + s,
            given.reads,
            given.hard,
            given.step,
            given.other_lot,
            given.own_phone,
            given.world,
        )
        for s in range(given.setups)
    ]
    rows: list[Row] = []
    with ProcessPoolExecutor(given.workers) as pool:
        for part in pool.map(run_setup, jobs):
            rows += part
            print(report(part, f"setup {part[0].setup}") if part else "setup without a profile", flush=True)
    print(report(rows, "all"))
    if given.csv:
        with open(given.csv, "w", newline="", encoding="utf-8") as file:
            writer = csv.DictWriter(file, list(asdict(rows[0])))
            writer.writeheader()
            writer.writerows(asdict(r) for r in rows)


if __name__ == "__main__":
    main()
