"""Pictures that show no card, by others: `python -m tests.no_card`: all refused, by all three readings, within 2 s.

They are those that the installed packages ship (scikit-image, SciPy, Matplotlib and others, whatever is there), each
read as a pH, a tint and a solid. Prints what refused them and the slowest; exit code 1 on one that was not.
"""

from __future__ import annotations

import sys
import sysconfig
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

from stripread import load_profile, read_ph, read_solid, read_tint

ENDINGS = {".png", ".jpg", ".jpeg", ".tif", ".tiff", ".webp", ".heic", ".gif"}
LEAST_BYTES = 2_000  # less is an icon
MOST_S = 2.0  # of processor time
PROFILE = Path(__file__).parents[1] / "service" / "demo" / "profile.toml"


def readings() -> dict[str, Callable[[Path], Any]]:
    """The three readings, each of a path."""
    profile = load_profile(PROFILE)
    return {"ph": lambda path: read_ph(path, profile), "tint": read_tint, "solid": read_solid}


def pictures() -> list[Path]:
    """Every picture beside the installed packages."""
    root = Path(sysconfig.get_paths()["purelib"])
    found = (p for p in root.rglob("*") if p.suffix.lower() in ENDINGS and p.is_file())
    return sorted(p for p in found if p.stat().st_size >= LEAST_BYTES)


def escapes(path: Path, read: dict[str, Callable[[Path], Any]], told: Counter[str]) -> tuple[list[str], float]:
    """What went wrong with one picture, in words, and the processor time (s) of the slowest reading of it."""
    wrong, slowest = [], 0.0
    for kind, one in read.items():
        start = time.process_time()
        got = one(path)
        spent = time.process_time() - start
        slowest = max(slowest, spent)
        table = got.to_dict()
        if got.status != "refused" or not table["reasons"]:
            wrong.append(f"{kind}: {got.status}")
        else:
            told[table["reasons"][0]["code"]] += 1
        if spent > MOST_S:
            wrong.append(f"{kind}: {spent:.1f} s")
    return wrong, slowest


def main() -> int:
    """Read them all; 1 where one escaped."""
    read, told, worst, bad = readings(), Counter[str](), (0.0, ""), 0
    for path in (found := pictures()):
        wrong, slowest = escapes(path, read, told)
        worst = max(worst, (slowest, path.name))
        bad += bool(wrong)
        for words in wrong:
            print(f"{path}: {words}")
    print(f"{len(found)} pictures, three readings each: {bad} escaped; refused by {dict(told)}; "
          f"slowest {worst[0]:.2f} s ({worst[1]})")  # fmt: skip
    return int(bad > 0)


if __name__ == "__main__":
    sys.exit(main())
