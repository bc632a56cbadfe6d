"""How bad photos end: `python -m tests.bad_photos --each 20`. Every kind must be refused or doubtful."""

from __future__ import annotations

import argparse
import os
from collections import Counter
from concurrent.futures import ProcessPoolExecutor

import numpy as np

from stripread.ph.read import read_ph
from tests.accuracy import profile_of
from tests.scenes.faults import FAULTS, bad_scene
from tests.scenes.photo import render


def run(job: tuple[str, int, int]) -> dict[str, Counter[str]]:
    kind, setup, each = job
    import cv2

    cv2.setNumThreads(1)
    profile = profile_of(kind, setup)
    seen: dict[str, Counter[str]] = {}
    for number, fault in enumerate(FAULTS):
        seen[fault] = Counter()
        for draw in range(each):
            rng = np.random.default_rng([setup, draw, number, 55])
            scene = bad_scene(rng, fault, kind=kind, printer_seed=setup, sheet_seed=setup, lot_seed=setup)
            got = read_ph(render(scene).data, profile)
            codes = "+".join(r.code for r in got.reasons if r.severity != "note")
            off = "" if got.ph is None or scene.ph is None else f" (off by {abs(got.ph - scene.ph):.1f})"
            seen[fault][f"{got.status} {codes}{off if got.status == 'ok' else ''}"] += 1
    return seen


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--kind", default="four")
    ask.add_argument("--each", type=int, default=10, help="photos of each kind in each setup")
    ask.add_argument("--setups", type=int, default=2)
    given = ask.parse_args()
    total: dict[str, Counter[str]] = {}
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        for part in pool.map(run, [(given.kind, s, given.each) for s in range(given.setups)]):
            for fault, counts in part.items():
                total.setdefault(fault, Counter()).update(counts)
    for fault, counts in total.items():
        good = sum(n for word, n in counts.items() if not word.startswith("ok"))
        print(f"{fault}: {good} of {sum(counts.values())} turned away or doubted  {dict(counts)}")


if __name__ == "__main__":
    main()
